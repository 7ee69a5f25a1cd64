#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>

#include "apps/command.h"
#include "apps/say.h"
#include "base/parallel.h"
#include "comp/colour/difference.h"
#include "comp/media/frames.h"
#include "comp/media/sequence.h"
#include "comp/media/whole_file.h"
#include "track/score.h"
#include "track/track_file.h"

namespace pw {
namespace {

using Json = nlohmann::ordered_json;

bool ends_with(const std::string& s, std::string_view end) { return s.size() >= end.size() && s.ends_with(end); }

Result<std::string> text_of(const std::string& path) {
  auto bytes = read_whole_file(path);
  if (!bytes) return fail(bytes.error());
  return std::string(reinterpret_cast<const char*>(bytes->bytes().data()), bytes->bytes().size());
}

int score_tracks(const ScoreCommand& c) {
  auto measured_text = text_of(c.measured), truth_text = text_of(c.truth);
  if (!measured_text) return say(measured_text.error()), kMistake;
  if (!truth_text) return say(truth_text.error()), kMistake;
  auto truth = parse_truth(*truth_text, c.truth);
  if (!truth) return say(truth.error()), kMistake;
  auto track = ends_with(c.measured, ".csv")
                   ? parse_corners_csv(*measured_text, c.measured, truth->width, truth->height, truth->reference)
                   : parse_track(*measured_text, c.measured);
  if (!track) return say(track.error()), kMistake;
  const TrackScore s = score(*track, *truth);
  if (c.json) {
    Json frames = Json::array();
    for (const FrameScore& f : s.frames)
      frames.push_back({{"frame", f.frame},
                        {"status", name(f.status)},
                        {"known", f.known},
                        {"rms_px", f.rms_px},
                        {"worst_px", f.worst_px},
                        {"discrepancy_px", f.discrepancy_px},
                        {"lost", f.lost}});
    fmt::print("{}\n", Json{{"rms_px", s.rms_px},
                            {"worst_px", s.worst_px},
                            {"discrepancy_px", s.discrepancy_px},
                            {"lost", s.lost},
                            {"precision_0.25px", s.precision[0]},
                            {"precision_1px", s.precision[1]},
                            {"precision_5px", s.precision[2]},
                            {"frames", frames}}
                           .dump());
    return kDone;
  }
  if (c.each)
    for (const FrameScore& f : s.frames)
      fmt::print("frame {:5}  {:8}  rms {:9.4f} px  worst corner {:9.4f} px{}\n", f.frame, name(f.status), f.rms_px,
                 f.worst_px, f.lost ? "  lost" : "");
  fmt::print("corner error {:.4f} px RMS, worst frame {:.4f} px; homography discrepancy {:.4f} px\n", s.rms_px,
             s.worst_px, s.discrepancy_px);
  fmt::print("within 0.25 px {:.1f} %, 1 px {:.1f} %, 5 px {:.1f} % of {} frames; {} lost\n", 100 * s.precision[0],
             100 * s.precision[1], 100 * s.precision[2], s.frames.size(), s.lost);
  return kDone;
}

// A still or a sequence, read frame by frame.
struct Pictures {
  std::string path;
  std::optional<Sequence> sequence;  // None: one still, the same for every frame.
  ReadOptions options;

  static Result<Pictures> open(const std::string& path, const ReadOptions& options) {
    if (!looks_like_pattern(path)) return Pictures{path, std::nullopt, options};
    auto sequence = open_sequence(path, options);
    if (!sequence) return fail(sequence.error());
    return Pictures{path, std::move(*sequence), options};
  }
  Result<Picture> at(int frame) const {
    auto file = sequence ? read_frame(*sequence, frame) : read_still(path, options);
    if (!file) return fail(file.error());
    return file->picture;
  }
  void limit(std::vector<int>& frames) const {
    if (!sequence) return;
    std::erase_if(frames,
                  [&](int f) { return !std::binary_search(sequence->frames.begin(), sequence->frames.end(), f); });
  }
};

// What is wrong with a frame's pictures, or else how they differ.
struct Compared {
  Problems wrong;
  std::optional<Result<Difference>> difference;
};

int score_pictures(const ScoreCommand& c) {
  const auto code = encoding(c.encoding);
  if (!code) {
    say({{.what = fmt::format("there is no encoding \"{}\"", c.encoding),
          .remedy = "it may be srgb, rec709-camera, bt1886, linear, hlg or pq",
          .file = "--encoding"}});
    return kMistake;
  }
  auto measured = Pictures::open(c.measured, {}), truth = Pictures::open(c.truth, {});
  if (!measured) return say(measured.error()), kMistake;
  if (!truth) return say(truth.error()), kMistake;
  std::optional<Pictures> matte;
  if (!c.matte.empty()) {
    auto m = Pictures::open(c.matte, {Encoding::linear});
    if (!m) return say(m.error()), kMistake;
    matte = std::move(*m);
  }
  std::vector<int> frames{0};
  if (const auto& s = measured->sequence ? measured->sequence : truth->sequence) frames = s->frames;
  if (!c.frames.empty()) {
    auto asked = parse_frames(c.frames);
    if (!asked) return say(asked.error()), kMistake;
    frames = *asked;
  }
  measured->limit(frames), truth->limit(frames);
  if (matte) matte->limit(frames);
  if (frames.empty()) {
    say({{.what = "no frame is in both",
          .remedy = "compare sequences with the same frame numbers",
          .file = c.measured}});
    return kMistake;
  }
  Json each = Json::array();
  double worst = 1e9, sum = 0, worst_ssim = 2, sum_ssim = 0;
  int worst_at = 0, compared = 0, with_ssim = 0;
  bool failed = false;
  const auto compare = [&](int f) -> Compared {
    auto a = measured->at(f), b = truth->at(f);
    Result<Picture> m = matte ? matte->at(f) : Result<Picture>(Picture());
    if (!a || !b || !m) return {!a ? a.error() : !b ? b.error() : m.error(), std::nullopt};
    const Rect one = a->window(), other = b->window();
    if (one.width() != other.width() || one.height() != other.height())
      return {{{.what = fmt::format("the picture is {}x{}, that of {} is {}x{}", one.width(), one.height(), c.truth,
                                    other.width(), other.height()),
                .remedy = "compare pictures of one size",
                .file = c.measured,
                .frame = measured->sequence ? std::optional<int>(f) : std::nullopt}},
              std::nullopt};
    return {
        {},
        difference(encoded(*a, *code), encoded(*b, *code), unite(a->window(), b->window()), 1, matte ? &*m : nullptr)};
  };
  const auto runner = arena(0);
  constexpr size_t kBatch = 16;
  std::array<Compared, kBatch> batch;
  for (size_t i = 0; i < frames.size(); ++i) {
    if (i % kBatch == 0)
      runner->run(std::min(kBatch, frames.size() - i), [&](size_t k) { batch[k] = compare(frames[i + k]); });
    const int f = frames[i];
    const auto& [wrong, difference] = batch[i % kBatch];
    if (!wrong.empty()) {
      say(wrong);
      failed = true;
      continue;
    }
    const Result<Difference>& d = *difference;
    if (!d) {
      if (c.each && !c.json) fmt::print("frame {:5}  {}\n", f, d.error()[0].what);
      continue;
    }
    ++compared;
    sum += std::min(d->psnr, 99.0);
    if (compared == 1 || d->psnr < worst) worst = d->psnr, worst_at = f;
    if (d->ssim) sum_ssim += *d->ssim, worst_ssim = std::min(worst_ssim, *d->ssim), ++with_ssim;
    Json row = {{"frame", f}, {"psnr_db", std::min(d->psnr, 999.0)}, {"largest", d->max_abs}, {"pixels", d->pixels}};
    if (d->ssim) row["ssim"] = *d->ssim;
    each.push_back(row);
    if (c.each && !c.json)
      fmt::print("frame {:5}  PSNR {:6.2f} dB  SSIM {}  largest {:.4f}  {} pixels\n", f, std::min(d->psnr, 99.0),
                 d->ssim ? fmt::format("{:.4f}", *d->ssim) : "-", d->max_abs, d->pixels);
  }
  if (compared == 0) {
    say({{.what = "there was nothing to compare", .remedy = "check the frames and the matte", .file = c.measured}});
    return kSomeFailed;
  }
  if (c.json) {
    fmt::print("{}\n", Json{{"psnr_db_worst", std::min(worst, 999.0)},
                            {"psnr_db_mean", sum / compared},
                            {"worst_frame", worst_at},
                            {"ssim_mean", with_ssim ? sum_ssim / with_ssim : 0},
                            {"frames", each}}
                           .dump());
  } else {
    fmt::print("PSNR {:.2f} dB mean, {:.2f} dB worst (frame {})", sum / compared, std::min(worst, 99.0), worst_at);
    if (with_ssim) fmt::print("; SSIM {:.4f} mean, {:.4f} worst", sum_ssim / with_ssim, worst_ssim);
    fmt::print("; {} frames\n", compared);
  }
  return failed ? kSomeFailed : kDone;
}

}  // namespace

int run(const ScoreCommand& c) {
  const bool tracks = ends_with(c.truth, ".json") || ends_with(c.measured, ".json") || ends_with(c.measured, ".csv");
  if (!tracks) return score_pictures(c);
  if (!c.frames.empty() || !c.matte.empty()) {
    say({{.what = "--frames and --matte are for pictures",
          .remedy = "leave them out; --each tells every frame of a track"}});
    return kMistake;
  }
  return score_tracks(c);
}

}  // namespace pw
