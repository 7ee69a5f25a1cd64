// The project's tracker beside three references, over any folder of sequences with exact truth; see kHelp. All run on
// one thread from decoded frames; times are processor time. References, all by OpenCV:
//   KLT   chained from frame to frame (tests/truth/references.h has its settings and those of ECC).
//   SIFT  features of the reference frame's region and of the whole frame, nearest neighbours with ratio 0.8,
//   homography
//         by USAC_MAGSAC (2 px, 5000 rounds, confidence 0.999); below 12 inliers the frame is flagged.
//   ECC   against the reference frame, started from KLT carried on from its last answer; flagged where it gives up.
#include <fmt/format.h>

#include <Eigen/LU>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <ctime>
#include <filesystem>
#include <functional>
#include <opencv2/features2d.hpp>

#include "../truth/drawn.h"
#include "../truth/references.h"
#include "comp/media/whole_file.h"
#include "track/score.h"

namespace pw {
namespace {

namespace fs = std::filesystem;
using Clock = std::chrono::steady_clock;

constexpr const char* kHelp =
    "bench_trackers FOLDER OUT [--only NAME,...] [--box WxH] [--shutter DEG] [--alone]\n"
    "Measures trackers on every sequence in FOLDER: subfolders with truth.json and f.####.png, frames counted from 1,\n"
    "as the stage draws them. Writes OUT.csv and OUT.html (plots inside) and prints the table. The median of the time\n"
    "is that of frames on which the plane goes on from the frame before; beside it, with their number, stands that of\n"
    "frames on which it had to be looked for anew.\n\n"
    "  --only NAME,...   these subfolders alone\n"
    "  --box WxH         track a box of that size about the region's middle instead of the region (for timing)\n"
    "  --shutter DEG     of the camera, as a person would know it [180]\n"
    "  --alone           the project's tracker without the others, to see what a region of another size takes\n\n"
    "Examples:\n"
    "  stage planes out/planes && bench_trackers out/planes planes\n"
    "  stage planes out/hd --size 1920x1080 --only drift,zoom,skew,spin,blur\n"
    "  bench_trackers out/hd speed --box 600x450          the region is about 600x450 in each\n";

struct Wrong : std::runtime_error {
  using std::runtime_error::runtime_error;
};

struct Settings {
  std::string folder, out;
  std::vector<std::string> only;
  int box_w = 0, box_h = 0;
  double shutter_deg = 180;
  bool alone = false;
};

double seconds_since(Clock::time_point begin) { return std::chrono::duration<double>(Clock::now() - begin).count(); }

// Processor time of this program, so that others on the machine do not count.
double busy_ms() { return 1000.0 * double(std::clock()) / CLOCKS_PER_SEC; }

// A tracker's answers and what frames took, from frame 2 on.
struct Run {
  std::string name;
  Motion motion;
  std::vector<double> ms;
};

// Frames on which the plane had to be looked for anew, those out of sight among them: from the first that was not seen
// to the one after the last. Same order as Run::ms.
std::vector<bool> looked_for(const Motion& m) {
  std::vector<bool> out;
  for (size_t i = 1; i < m.poses.size(); ++i) out.push_back(!m.poses[i].seen() || !m.poses[i - 1].seen());
  return out;
}

struct Sequence {
  std::string name;
  Motion truth;
  std::vector<Picture> frames;  // Frame 1 first.
  std::vector<cv::Mat> grey;    // The same, encoded, 8 bits.
};

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
  const cv::Mat mask = cv_mask(s.truth.region, s.grey[0].size());
  Matrix3 h = Matrix3::Identity();
  return reference("KLT", s, [&](size_t i) {
    const auto step = klt_step(s.grey[i - 1], s.grey[i], mask, h);
    if (step) h = *step;
    return Answer{h, step.has_value()};
  });
}

Run run_ecc(const Sequence& s) {
  const cv::Mat mask = cv_mask(s.truth.region, s.grey[0].size());
  const cv::Rect box = cv::boundingRect(mask);
  Matrix3 h = Matrix3::Identity();
  return reference("ECC", s, [&](size_t i) {
    h = klt_step(s.grey[i - 1], s.grey[i], mask, h).value_or(h);
    const auto fitted = ecc_from(s.grey[0], box, s.grey[i], h);
    h = fitted.value_or(h);
    return Answer{h, fitted.has_value()};
  });
}

Run run_sift(const Sequence& s) {
  const auto sift = cv::SIFT::create();
  std::vector<cv::KeyPoint> at_first, at_now;
  cv::Mat first, now;
  sift->detectAndCompute(s.grey[0], cv_mask(s.truth.region, s.grey[0].size()), at_first, first);
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
    h = normalised(from_cv_matrix(found));
    return Answer{h, cv::countNonZero(inliers) >= 12};
  });
}

double median(std::vector<double> v) {
  if (v.empty()) return 0;
  std::nth_element(v.begin(), v.begin() + v.size() / 2, v.end());
  return v[v.size() / 2];
}

// It goes through the frames twice, in the second pass some at a time, and where grain is heavy once more: a frame
// costs what the first took of it, what the second took of one in the middle, and its share of the rest.
Run run_own(const Sequence& s, double shutter_deg) {
  PlaneOptions options;
  options.reference = s.truth.reference;
  options.region = s.truth.region;
  Run run{"plane", {}, {}};
  const int visits = int(s.frames.size()) - 1;
  std::vector<double> second;
  double rest = 0;
  auto begin = busy_ms();
  int last = 0;
  run.motion = must(track_plane(Decoded(s.frames, 1, shutter_deg), options, serial(), [&](int done, int) {
    const double ms = busy_ms() - begin;
    if (done <= visits)
      run.ms.push_back(ms);
    else if (done <= 2 * visits)
      second.insert(second.end(), done - last, ms / (done - last));
    else
      rest += ms;
    begin = busy_ms(), last = done;
    return true;
  }));
  for (double& ms : run.ms) ms += median(second) + rest / visits;
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
      if (!s.out.empty()) throw Wrong("'" + word + "' is one name too many; see --help");
      (s.folder.empty() ? s.folder : s.out) = word;
      continue;
    }
    if (word == "--alone") {
      s.alone = true;
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
    q.grey.push_back(eight_bits(cv_grey(q.frames.back())));
  }
  return q;
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
      "sequence,tracker,rms_px,worst_px,lost,flagged,frames,within_0.25,within_1,within_5,median_ms,times_plane,"
      "found_anew,found_anew_ms\n";
  std::string table =
      fmt::format("{:<10}{:<7}{:>9}{:>9}{:>6}{:>9}{:>8}{:>8}{:>8}{:>10}{:>9}{:>13}\n", "sequence", "tracker", "rms px",
                  "worst", "lost", "flagged", "<=.25", "<=1", "<=5", "median ms", "x plane", "anew ms");
  std::string plots;
  const auto begin = Clock::now();
  for (size_t i = 0; i < names.size(); ++i) {
    const Sequence s = load(settings, names[i]);
    std::vector<Run> runs{run_own(s, settings.shutter_deg)};
    if (!settings.alone) runs.push_back(run_klt(s)), runs.push_back(run_sift(s)), runs.push_back(run_ecc(s));
    const std::vector<bool> apart = looked_for(runs[0].motion);
    double own_ms = 0;
    std::vector<TrackScore> scores;
    std::vector<std::string> trackers;
    for (const Run& r : runs) {
      const TrackScore& q = scores.emplace_back(score(r.motion, s.truth));
      trackers.push_back(r.name);
      const auto flagged = std::count_if(q.frames.begin(), q.frames.end(),
                                         [](const FrameScore& f) { return f.status != TrackStatus::good; });
      std::vector<double> usual, anew;
      for (size_t k = 0; k < r.ms.size(); ++k) (apart[k] ? anew : usual).push_back(r.ms[k]);
      if (&r == &runs[0]) own_ms = median(usual);
      const double ms = median(usual), ratio = own_ms > 0 ? ms / own_ms : 0;
      table +=
          fmt::format("{:<10}{:<7}{:>9.4f}{:>9.4f}{:>6}{:>9}{:>8.3f}{:>8.3f}{:>8.3f}{:>10.1f}{:>9.2f}{:>13}\n", s.name,
                      r.name, q.rms_px, q.worst_px, q.lost, flagged, q.precision[0], q.precision[1], q.precision[2], ms,
                      ratio, anew.empty() ? "-" : fmt::format("{:.1f} ({})", median(anew), anew.size()));
      csv += fmt::format("{},{},{:.6g},{:.6g},{},{},{},{:.4f},{:.4f},{:.4f},{:.3f},{:.4f},{},{:.3f}\n", s.name, r.name,
                         q.rms_px, q.worst_px, q.lost, flagged, q.frames.size(), q.precision[0], q.precision[1],
                         q.precision[2], ms, ratio, anew.size(), median(anew));
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
