// The seven drawn boards, each hard in a way the nine planes are not: how far the tracker is from the truth, and
// whether it says so when it is. The tracker gets the frames, the region as a person would draw it and the shutter's
// angle; the readout of `rolling` and the lens of `lens` are found; the latter is also tracked with its lens told, and
// as if it had none: then it cannot be right, but must say so. Truth is opened for the score alone.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <chrono>

#include "bars.h"
#include "comp/media/movie.h"
#include "drawn.h"
#include "track/rectified.h"
#include "track/score.h"

namespace pw {
namespace {

// One way of tracking a board.
struct Hard {
  const char* bar;
  const char* board;
  bool find_readout = false;  // A person sees upright edges lean as the camera shakes.
  Lens lens = {};             // As its maker's sheet would tell.
  int find_lens = 0;          // A person sees straight lines bend.
  int rate = 0;               // Of the movie in place of the frames, kbit a second.
};
constexpr Hard kAll[] = {{"return", "return"},
                         {"facade", "facade"},
                         {"glass", "glass"},
                         {"rolling", "rolling", true},
                         {"lens", "lens", false, {}, 1},
                         {"lens_told", "lens", false, {.k1 = -0.15}},
                         {"lens_untold", "lens"},
                         {"focus", "focus"},
                         {"lowrate", "lowrate", false, {}, 0, 160},
                         {"lowrate_365", "lowrate", false, {}, 0, 365}};

// Frames of the movie the drawing script made of a sequence; frame 1 is its first.
class MovieFrames final : public PlaneFrames {
 public:
  explicit MovieFrames(const std::string& path) : movie_(must(Movie::open(path, {.encoding = Encoding::srgb}))) {}
  int first() const override { return 1; }
  int last() const override { return movie_->info().frames; }
  Picture image(int frame) const override { return must(movie_->read(frame - 1)); }

 private:
  std::shared_ptr<const Movie> movie_;
};

Decoded decoded(const Hard& hard, const Motion& truth) {
  const std::string name = hard.board, folder = std::string(PW_DRAWN) + "/" + name;
  if (hard.rate > 0) return Decoded(MovieFrames(fmt::format("{}/movie_{}.mp4", folder, hard.rate)));
  return Decoded(DrawnFrames(folder, truth.poses.back().frame, name == "rolling" ? 45 : 180));
}

TEST(Hard, SevenSequences) {
  fmt::print("\n{:<12}{:>10}{:>10}{:>6}{:>12}{:>16}{:>8}\n", "board", "rms px", "worst px", "lost", "unflagged",
             "right, flagged", "ms");
  int unflagged = 0, right = 0, right_flagged = 0, hidden = 0;
  std::vector<double> rms;
  for (const Hard& hard : kAll) {
    const std::string name = hard.board;
    const Motion truth = drawn_truth(std::string(PW_DRAWN) + "/" + name);
    const Decoded frames = decoded(hard, truth);
    PlaneOptions options;
    options.reference = truth.reference;
    options.region = truth.region;
    const auto begin = std::chrono::steady_clock::now();
    const Motion track = must(track_bent(frames, {options, hard.lens, 0, hard.find_readout, hard.find_lens}, serial()));
    if (track.lens.k1_sd != 0) fmt::print("k1 {:.4f} +- {:.4f}\n", track.lens.k1, track.lens.k1_sd);
    if (track.readout != 0) fmt::print("readout {:.3f} +- {:.3f}\n", track.readout, track.readout_sd);
    const double ms = std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begin).count();
    const TrackScore s = score(track, truth);
    int silent = 0, fine = 0, fine_flagged = 0;
    for (const FrameScore& f : s.frames) {
      const bool good = f.status == TrackStatus::good;
      silent += f.lost && good;
      hidden += f.status == TrackStatus::hidden;
      // Right: as near as one asks of a sequence without trouble. Out of sight there is nothing to be right about.
      if (!f.known || f.status == TrackStatus::hidden || f.rms_px > 1) continue;
      ++fine;
      fine_flagged += !good;
    }
    fmt::print("{:<12}{:>10.4f}{:>10.4f}{:>6}{:>12}{:>12}/{:<3}{:>8.1f}\n", hard.bar, s.rms_px, s.worst_px, s.lost,
               silent, fine_flagged, fine, ms / (truth.poses.size() - 1));
    rms.push_back(s.rms_px);
    unflagged += silent, right += fine, right_flagged += fine_flagged;
  }
  for (size_t i = 0; i < rms.size(); ++i) bar(fmt::format("hard.{}.rms_px", kAll[i].bar), rms[i]);
  bar("hard.lost_unflagged", unflagged);
  bar("hard.right_flagged", right ? double(right_flagged) / right : 1);
  bar("hard.hidden", hidden);
}

}  // namespace
}  // namespace pw
