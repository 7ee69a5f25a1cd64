// The project's tracker beside three references, over any folder of sequences with exact truth; see kHelp. All run on
// one thread from decoded frames; times are processor time. References, all by OpenCV:
//   KLT   corners of the last frame within the region (at most 400, quality 0.01, 5 px apart), pyramidal Lucas and
//         Kanade (21 x 21, 3 levels), homography by RANSAC (2 px), chained from frame to frame.
//   SIFT  features of the reference frame's region and of the whole frame, nearest neighbours with ratio 0.8,
//   homography
//         by USAC_MAGSAC (2 px, 5000 rounds, confidence 0.999); below 12 inliers the frame is flagged.
//   ECC   findTransformECC against the reference frame's region (homography, 50 iterations, 1e-5, Gaussian 5), started
//         from KLT carried on from its last answer; flagged where it gives up.
#include <fmt/format.h>

#include <Eigen/LU>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <ctime>
#include <filesystem>
#include <functional>
#include <opencv2/calib3d.hpp>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>
#include <opencv2/video/tracking.hpp>

#include "../truth/drawn.h"
#include "comp/colour/difference.h"
#include "comp/media/whole_file.h"
#include "track/score.h"

namespace pw {
namespace {

namespace fs = std::filesystem;
using Clock = std::chrono::steady_clock;

constexpr const char* kHelp =
    "bench_trackers FOLDER OUT [--only NAME,...] [--box WxH] [--shutter DEG]\n"
    "Measures trackers on every sequence in FOLDER: subfolders with truth.json and f.####.png, frames counted from 1,\n"
    "as the stage draws them. Writes OUT.csv and OUT.html (plots inside) and prints the table.\n\n"
    "  --only NAME,...   these subfolders alone\n"
    "  --box WxH         track a box of that size about the region's middle instead of the region (for timing)\n"
    "  --shutter DEG     of the camera, as a person would know it [180]\n\n"
    "Examples:\n"
    "  stage planes out/planes && bench_trackers out/planes planes\n"
    "  stage planes out/hd --size 1920x1080 --frames 15 --only drift,zoom,skew,spin,blur\n"
    "  bench_trackers out/hd speed --box 600x450          the region is about 600x450 in each\n";

struct Wrong : std::runtime_error {
  using std::runtime_error::runtime_error;
};

struct Settings {
  std::string folder, out;
  std::vector<std::string> only;
  int box_w = 0, box_h = 0;
  double shutter_deg = 180;
};

double seconds_since(Clock::time_point begin) { return std::chrono::duration<double>(Clock::now() - begin).count(); }

// Processor time of this program, so that others on the machine do not count.
double busy_ms() { return 1000.0 * double(std::clock()) / CLOCKS_PER_SEC; }

// A tracker's answers and the time of each frame that it was asked for.
struct Run {
  std::string name;
  Motion motion;
  std::vector<double> ms;
};

struct Sequence {
  std::string name;
  Motion truth;
  std::vector<Picture> frames;  // Frame 1 first.
  std::vector<cv::Mat> grey;    // The same, encoded, 8 bits.
};

cv::Mat matrix(const Matrix3& h, int type) {
  cv::Mat m(3, 3, CV_64F);
  for (int i = 0; i < 9; ++i) m.at<double>(i / 3, i % 3) = h(i / 3, i % 3);
  m.convertTo(m, type);
  return m;
}
Matrix3 matrix(const cv::Mat& given) {
  cv::Mat m;
  given.convertTo(m, CV_64F);
  Matrix3 h;
  for (int i = 0; i < 9; ++i) h(i / 3, i % 3) = m.at<double>(i / 3, i % 3);
  return h;
}

cv::Mat grey_of(const Picture& picture) {
  const Picture p = encoded(picture, Encoding::srgb);
  cv::Mat one;
  cv::cvtColor(cv::Mat(p.window().height(), p.window().width(), CV_32FC3, const_cast<float*>(p.row(0))), one,
               cv::COLOR_RGB2GRAY);
  one.convertTo(one, CV_8U, 255);
  return one;
}

cv::Mat mask_of(const Sequence& s) {
  std::vector<cv::Point> corners;
  for (const Point& p : s.truth.region)
    corners.emplace_back(int(std::lround(p.x() - 0.5)), int(std::lround(p.y() - 0.5)));
  cv::Mat mask = cv::Mat::zeros(s.grey[0].size(), CV_8U);
  cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{corners}, 255);
  return mask;
}

// One step of KLT; nothing when too few corners were found again.
std::optional<Matrix3> klt_step(const cv::Mat& last, const cv::Mat& now, const cv::Mat& mask, const Matrix3& h) {
  cv::Mat here;
  cv::warpPerspective(mask, here, matrix(h, CV_64F), mask.size(), cv::INTER_NEAREST);
  std::vector<cv::Point2f> from, to, a, b;
  cv::goodFeaturesToTrack(last, from, 400, 0.01, 5, here);
  if (from.size() < 8) return {};
  std::vector<unsigned char> ok;
  std::vector<float> error;
  cv::calcOpticalFlowPyrLK(last, now, from, to, ok, error, {21, 21}, 3);
  for (size_t i = 0; i < from.size(); ++i)
    if (ok[i]) a.push_back(from[i]), b.push_back(to[i]);
  if (a.size() < 8) return {};
  cv::theRNG().state = 1;
  const cv::Mat step = cv::findHomography(a, b, cv::RANSAC, 2);
  if (step.empty()) return {};
  return normalised(matrix(step) * h);
}

// What a reference answers for frame number i (0: the first), and whether it believes it.
struct Answer {
  Matrix3 h;  // frame_from_ref between pixel centres.
  bool sure = true;
};

Run reference(const std::string& name, const Sequence& s, const std::function<Answer(size_t i)>& answer) {
  Run run{name, s.truth, {}};
  // It knows nothing of a lens or of rows.
  run.motion.lens = {}, run.motion.readout = 0;
  for (Pose& pose : run.motion.poses) pose.corners.clear();
  for (size_t i = 1; i < s.grey.size(); ++i) {
    const double begin = busy_ms();
    const Answer a = answer(i);
    run.ms.push_back(busy_ms() - begin);
    Pose& pose = run.motion.poses[i];
    pose.frame_from_ref = normalised(from_pixel_centres(a.h));
    pose.status = a.sure ? TrackStatus::good : TrackStatus::weak;
  }
  return run;
}

Run run_klt(const Sequence& s) {
  const cv::Mat mask = mask_of(s);
  Matrix3 h = Matrix3::Identity();
  return reference("KLT", s, [&](size_t i) {
    const auto step = klt_step(s.grey[i - 1], s.grey[i], mask, h);
    if (step) h = *step;
    return Answer{h, step.has_value()};
  });
}

Run run_ecc(const Sequence& s) {
  const cv::Mat mask = mask_of(s);
  const cv::Rect box = cv::boundingRect(mask);
  const Matrix3 whole_from_box = translation(box.x, box.y);
  Matrix3 h = Matrix3::Identity();
  return reference("ECC", s, [&](size_t i) {
    if (const auto step = klt_step(s.grey[i - 1], s.grey[i], mask, h)) h = *step;
    cv::Mat warp = matrix(normalised(h * whole_from_box), CV_32F);
    try {
      cv::findTransformECC(s.grey[0](box), s.grey[i], warp, cv::MOTION_HOMOGRAPHY,
                           cv::TermCriteria(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 50, 1e-5), cv::noArray(),
                           5);
    } catch (const cv::Exception&) {  // It throws when it does not converge.
      return Answer{h, false};
    }
    h = normalised(matrix(warp) * whole_from_box.inverse());
    return Answer{h};
  });
}

Run run_sift(const Sequence& s) {
  const auto sift = cv::SIFT::create();
  std::vector<cv::KeyPoint> at_first, at_now;
  cv::Mat first, now;
  sift->detectAndCompute(s.grey[0], mask_of(s), at_first, first);
  const cv::BFMatcher matcher(cv::NORM_L2);
  Matrix3 h = Matrix3::Identity();
  return reference("SIFT", s, [&](size_t i) {
    sift->detectAndCompute(s.grey[i], cv::noArray(), at_now, now);
    std::vector<std::vector<cv::DMatch>> pairs;
    if (!first.empty() && !now.empty()) matcher.knnMatch(first, now, pairs, 2);
    std::vector<cv::Point2f> a, b;
    for (const auto& pair : pairs) {
      if (pair.size() < 2 || pair[0].distance > 0.8f * pair[1].distance) continue;
      a.push_back(at_first[pair[0].queryIdx].pt), b.push_back(at_now[pair[0].trainIdx].pt);
    }
    if (a.size() < 4) return Answer{h, false};
    cv::Mat inliers;
    const cv::Mat found = cv::findHomography(a, b, cv::USAC_MAGSAC, 2, inliers, 5000, 0.999);
    if (found.empty()) return Answer{h, false};
    h = normalised(matrix(found));
    return Answer{h, cv::countNonZero(inliers) >= 12};
  });
}

class Decoded final : public PlaneFrames {
 public:
  Decoded(const Sequence& s, double shutter_deg) : s_(s), shutter_deg_(shutter_deg) {}
  int first() const override { return 1; }
  int last() const override { return int(s_.frames.size()); }
  double shutter_deg() const override { return shutter_deg_; }
  Picture image(int frame) const override { return s_.frames[frame - 1]; }

 private:
  const Sequence& s_;
  double shutter_deg_;
};

Run run_own(const Sequence& s, double shutter_deg) {
  PlaneOptions options;
  options.reference = s.truth.reference;
  options.region = s.truth.region;
  Run run{"plane", {}, {}};
  auto begin = busy_ms();
  run.motion = must(track_plane(Decoded(s, shutter_deg), options, serial(), [&](int, int) {
    run.ms.push_back(busy_ms() - begin);
    begin = busy_ms();
    return true;
  }));
  return run;
}

std::vector<std::string> split(const std::string& text) {
  std::vector<std::string> parts;
  for (size_t at = 0; at <= text.size();) {
    const size_t end = std::min(text.find(',', at), text.size());
    parts.push_back(text.substr(at, end - at));
    at = end + 1;
  }
  return parts;
}

Settings settings_of(const std::vector<std::string>& words) {
  Settings s;
  for (size_t i = 0; i < words.size(); ++i) {
    const std::string& word = words[i];
    if (!word.starts_with("--")) {
      (s.folder.empty() ? s.folder : s.out) = word;
      continue;
    }
    if (i + 1 == words.size()) throw Wrong(word + " wants a value after it; see --help");
    const std::string& value = words[++i];
    char rest = 0;
    if (word == "--only") {
      s.only = split(value);
    } else if (word == "--box") {
      if (std::sscanf(value.c_str(), "%dx%d%c", &s.box_w, &s.box_h, &rest) != 2 || s.box_w < 12 || s.box_h < 12)
        throw Wrong("--box wants WIDTHxHEIGHT of 12 or more, such as 600x450, not '" + value + "'");
    } else if (word == "--shutter") {
      if (std::sscanf(value.c_str(), "%lf%c", &s.shutter_deg, &rest) != 1 ||
          !(s.shutter_deg >= 0 && s.shutter_deg <= 360))
        throw Wrong("--shutter wants degrees from 0 to 360, not '" + value + "'");
    } else {
      throw Wrong("there is no option '" + word + "'; see --help");
    }
  }
  if (s.folder.empty() || s.out.empty())
    throw Wrong("a folder of sequences and a name for the results are needed; see --help");
  return s;
}

std::vector<std::string> names_in(const Settings& s) {
  if (!fs::is_directory(s.folder))
    throw Wrong(s.folder + " is no folder; the stage draws one: stage planes " + s.folder);
  std::vector<std::string> names = s.only;
  if (names.empty())
    for (const auto& entry : fs::directory_iterator(s.folder))
      if (fs::exists(entry.path() / "truth.json")) names.push_back(entry.path().filename());
  if (names.empty()) throw Wrong(s.folder + " holds no sequence: a subfolder with truth.json and f.####.png");
  std::sort(names.begin(), names.end());
  for (const std::string& name : names)
    if (!fs::exists(fs::path(s.folder) / name / "truth.json"))
      throw Wrong(s.folder + "/" + name + "/truth.json is missing");
  return names;
}

Sequence load(const Settings& s, const std::string& name) {
  const std::string folder = s.folder + "/" + name;
  Sequence q{name, drawn_truth(folder), {}, {}};
  if (q.truth.reference != 1) throw Wrong(folder + ": the reference is not frame 1");
  if (s.box_w) {
    Point middle(0, 0);
    for (const Point& p : q.truth.region) middle += p / double(q.truth.region.size());
    const double x = s.box_w / 2.0, y = s.box_h / 2.0;
    q.truth.region = {middle + Point(-x, -y), middle + Point(x, -y), middle + Point(x, y), middle + Point(-x, y)};
    for (Pose& pose : q.truth.poses) pose.corners.clear();
  }
  for (const Pose& pose : q.truth.poses) {
    q.frames.push_back(drawn_frame(folder + "/f.####.png", pose.frame));
    q.grey.push_back(grey_of(q.frames.back()));
  }
  return q;
}

double median(std::vector<double> v) {
  if (v.empty()) return 0;
  std::nth_element(v.begin(), v.begin() + v.size() / 2, v.end());
  return v[v.size() / 2];
}

// Error over time, log scale from 0.001 to 100 px, one line a tracker; flagged frames are rings.
std::string plot(const std::string& title, const std::vector<std::string>& names,
                 const std::vector<TrackScore>& scores) {
  constexpr double kW = 620, kH = 260, kLeft = 50, kTop = 30, kRight = 10, kBottom = 30;
  constexpr const char* kInk[] = {"#1b6ca8", "#c0392b", "#2e8b57", "#b8860b"};
  const int first = scores[0].frames.front().frame, last = std::max(first + 1, scores[0].frames.back().frame);
  const auto px = [&](int f) { return kLeft + (kW - kLeft - kRight) * (f - first) / double(last - first); };
  const auto py = [&](double e) {
    return kTop + (kH - kTop - kBottom) * (2 - std::log10(std::clamp(e, 1e-3, 100.0))) / 5;
  };
  std::string svg = fmt::format("<svg viewBox='0 0 {} {}' width='{}'><text x='{}' y='18' class='t'>{}</text>\n", kW, kH,
                                kW, kLeft, title);
  for (const double e : {1e-3, 1e-2, 0.1, 1.0, 10.0, 100.0})
    svg += fmt::format(
        "<line x1='{}' x2='{}' y1='{:.1f}' y2='{:.1f}' stroke='#ddd'/><text x='4' y='{:.1f}'>{} px</text>\n", kLeft,
        kW - kRight, py(e), py(e), py(e) + 4, e);
  svg += fmt::format("<text x='{}' y='{}'>frame {}</text><text x='{}' y='{}' text-anchor='end'>{}</text>\n", kLeft,
                     kH - 8, first, kW - kRight, kH - 8, last);
  for (size_t t = 0; t < scores.size(); ++t) {
    std::string line, rings;
    for (const FrameScore& f : scores[t].frames) {
      const double y = py(f.known ? f.rms_px : 100);
      line += fmt::format("{:.1f},{:.1f} ", px(f.frame), y);
      if (f.status != TrackStatus::good)
        rings +=
            fmt::format("<circle cx='{:.1f}' cy='{:.1f}' r='3' fill='none' stroke='{}'/>", px(f.frame), y, kInk[t]);
    }
    svg += fmt::format("<polyline fill='none' stroke='{}' stroke-width='1.5' points='{}'/>{}\n", kInk[t], line, rings);
    svg += fmt::format("<text x='{}' y='18' fill='{}'>{}</text>\n", 330 + 70 * t, kInk[t], names[t]);
  }
  return svg + "</svg>\n";
}

void write(const std::string& path, const std::string& text) {
  if (const auto done =
          write_whole_file(path, ByteSpan(reinterpret_cast<const unsigned char*>(text.data()), text.size()));
      !done)
    throw Wrong(to_string(done.error()));
}

void compare(const Settings& settings) {
  cv::setNumThreads(1);
  const std::vector<std::string> names = names_in(settings);
  if (const auto fine = check_writable(settings.out + ".csv"); !fine) throw Wrong(to_string(fine.error()));
  std::string csv =
      "sequence,tracker,rms_px,worst_px,lost,flagged,frames,within_0.25,within_1,within_5,median_ms,times_plane\n";
  std::string table = fmt::format("{:<10}{:<7}{:>9}{:>9}{:>6}{:>9}{:>8}{:>8}{:>8}{:>10}{:>9}\n", "sequence", "tracker",
                                  "rms px", "worst", "lost", "flagged", "<=.25", "<=1", "<=5", "median ms", "x plane");
  std::string plots;
  const auto begin = Clock::now();
  for (size_t i = 0; i < names.size(); ++i) {
    const Sequence s = load(settings, names[i]);
    const std::vector<Run> runs{run_own(s, settings.shutter_deg), run_klt(s), run_sift(s), run_ecc(s)};
    std::vector<TrackScore> scores;
    std::vector<std::string> trackers;
    for (const Run& r : runs) {
      const TrackScore& q = scores.emplace_back(score(r.motion, s.truth));
      trackers.push_back(r.name);
      const auto flagged = std::count_if(q.frames.begin(), q.frames.end(),
                                         [](const FrameScore& f) { return f.status != TrackStatus::good; });
      const double ms = median(r.ms), ratio = ms / median(runs[0].ms);
      table += fmt::format("{:<10}{:<7}{:>9.4f}{:>9.4f}{:>6}{:>9}{:>8.3f}{:>8.3f}{:>8.3f}{:>10.1f}{:>9.2f}\n", s.name,
                           r.name, q.rms_px, q.worst_px, q.lost, flagged, q.precision[0], q.precision[1],
                           q.precision[2], ms, ratio);
      csv += fmt::format("{},{},{:.6g},{:.6g},{},{},{},{:.4f},{:.4f},{:.4f},{:.3f},{:.4f}\n", s.name, r.name, q.rms_px,
                         q.worst_px, q.lost, flagged, q.frames.size(), q.precision[0], q.precision[1], q.precision[2],
                         ms, ratio);
    }
    plots += plot(s.name, trackers, scores);
    const double seconds = seconds_since(begin);
    fmt::print(stderr, "{}: {} of {}, about {:.0f} s left\n", s.name, i + 1, names.size(),
               seconds / (i + 1) * (names.size() - i - 1));
  }
  fmt::print("{}", table);
  write(settings.out + ".csv", csv);
  write(settings.out + ".html",
        "<!doctype html><meta charset='utf-8'><title>Trackers on drawn sequences</title>\n<style>body{font:14px "
        "sans-serif;"
        "margin:24px}svg{margin:4px}text{font:11px sans-serif}.t{font-weight:bold}</style>\n<h1>Corner error over "
        "time</h1>\n"
        "<p>Root mean square over the region's corners, pixels, log scale; at the top where there is no answer. Rings: "
        "the "
        "tracker says that the frame should be looked at.</p>\n" +
            plots + "<pre>\n" + table + "</pre>\n");
}

}  // namespace
}  // namespace pw

int main(int argc, char** argv) {
  const std::vector<std::string> words(argv + 1, argv + argc);
  if (words.empty() || std::find(words.begin(), words.end(), "--help") != words.end()) {
    fmt::print("{}", pw::kHelp);
    return words.empty() ? 2 : 0;
  }
  try {
    pw::compare(pw::settings_of(words));
  } catch (const std::exception& e) {
    fmt::print(stderr, "bench_trackers: {}\n", e.what());
    return 2;
  }
}
