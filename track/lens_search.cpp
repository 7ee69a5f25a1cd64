#include "track/lens_search.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "track/lens_fit.h"
#include "track/patches.h"

namespace pw {
namespace {

constexpr int kMostTracks = 4;    // Of all frames.
constexpr int kMostLooks = 4;     // At the patches, each drawn by what the last one found.
constexpr size_t kFewest = 12;    // Patches of a frame that counts.
constexpr double kPlaced = 0.01;  // What a patch's place in the reference may be wrong by, pixels, alike in all frames.
constexpr size_t kBatch = 4;      // Frames that are looked at at the same time.

bool settled(const Lens& a, const Lens& b) {
  return std::abs(a.k1 - b.k1) <= b.k1_sd && std::abs(a.k2 - b.k2) <= b.k2_sd;
}

tl::unexpected<Problems> refuse(std::string what, std::string remedy) {
  return fail(Problem{.what = std::move(what), .remedy = std::move(remedy)});
}

std::vector<int> spread_frames(const Motion& m) {
  std::vector<int> usable;
  for (const Pose& p : m.poses)
    if (p.frame != m.reference && p.seen()) usable.push_back(p.frame);
  if (usable.size() <= kLensFrames) return usable;
  std::vector<int> frames;
  for (size_t i = 0; i < kLensFrames; ++i) frames.push_back(usable[i * (usable.size() - 1) / (kLensFrames - 1)]);
  return frames;
}

}  // namespace

Result<Lens> find_lens(const PlaneFrames& frames, const Motion& motion, int terms, const Runner& runner) {
  const std::vector<int> chosen = spread_frames(motion);
  if (chosen.size() < 2)
    return refuse(fmt::format("the lens is not seen well enough: only {} frames were followed", chosen.size()),
                  "choose a reference or a region that is seen in more frames, or give k1");
  const Patches patches(frames.image(motion.reference), frames.ignore(motion.reference), motion.region);
  Motion known = motion;
  known.poses.clear();
  for (const Pose& p : motion.poses)
    if (p.frame == motion.reference || std::count(chosen.begin(), chosen.end(), p.frame)) known.poses.push_back(p);
  for (int look = 1;; ++look) {
    std::vector<Sight> sights;
    for (size_t start = 0; start < chosen.size(); start += kBatch) {
      const size_t count = std::min(kBatch, chosen.size() - start);
      std::vector<Picture> images(count), hidden(count);
      for (size_t i = 0; i < count; ++i)
        images[i] = frames.image(chosen[start + i]), hidden[i] = frames.ignore(chosen[start + i]);
      std::vector<Sight> found(count);
      runner.run(count, [&](size_t i) { found[i] = patches.find(images[i], hidden[i], chosen[start + i], known); });
      for (Sight& s : found)
        if (s.in_frame.size() >= kFewest) sights.push_back(std::move(s));
    }
    auto fit = fit_lens(sights, motion.width, motion.height, terms);
    if (!fit) return fail(fit.error());
    const double shared =
        std::sqrt(1 + double(sights.size()) * kPlaced * kPlaced / std::max(1e-12, fit->rms_px * fit->rms_px));
    fit->lens.k1_sd *= shared, fit->lens.k2_sd *= shared;
    if (look == kMostLooks || settled(known.lens, fit->lens)) return fit->lens;
    known.lens = fit->lens;
    std::erase_if(known.poses, [&](const Pose& p) {
      return p.frame != motion.reference &&
             std::none_of(sights.begin(), sights.end(), [&](const Sight& s) { return s.frame == p.frame; });
    });
    for (Pose& p : known.poses)
      for (size_t i = 0; i < sights.size(); ++i)
        if (sights[i].frame == p.frame) p.frame_from_ref = fit->frame_from_ref[i];
  }
}

Result<Motion> track_finding_lens(const PlaneFrames& frames, const BentOptions& options, const Runner& runner,
                                  const std::function<bool(int, int)>& progress) {
  if (options.readout != 0 || options.find_readout)
    return refuse("the lens cannot be found where rows are taken one after the other",
                  "find it in a shot whose camera is steady, and give k1");
  BentOptions told = options;
  told.find_lens = 0;
  told.plane.refine = false;  // Until the pictures are straight.
  const int tracks = kMostTracks + int(options.plane.refine);
  for (int track = 0;; ++track) {
    const auto in_track = [&](int done, int total) {
      return !progress || progress(track * total + done, tracks * total);
    };
    auto motion = track_bent(frames, told, runner, in_track);
    if (!motion) return motion;
    auto lens = find_lens(frames, *motion, options.find_lens, runner);
    if (!lens) return fail(lens.error());
    if (settled(told.lens, *lens) || track + 1 == kMostTracks) {
      if (options.plane.refine) {
        track = kMostTracks, told.plane.refine = true;
        motion = track_bent(frames, told, runner, in_track);
        if (!motion) return motion;
      }
      // The one it was tracked through, and how well that is known.
      motion->lens.k1_sd = std::max(lens->k1_sd, std::abs(lens->k1 - told.lens.k1));
      motion->lens.k2_sd = std::max(lens->k2_sd, std::abs(lens->k2 - told.lens.k2));
      return motion;
    }
    told.lens = *lens;
  }
}

}  // namespace pw
