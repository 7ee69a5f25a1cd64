// Follows one plane from frame to frame, and looks for it anew once the frames around are known. It holds what a shot's
// frames have in common; track_plane() says in which order they are visited.
#pragma once
#include <functional>
#include <optional>
#include <vector>

#include "track/align.h"
#include "track/plane.h"
#include "track/start.h"

namespace pw {

inline constexpr double kVisibleLimit = 0.15;  // Less of its texture than this visible: hidden or lost.
inline constexpr double kAgreeLimit = 0.3;     // Less in common with the reference than this: lost.
// What is left bends by so many pixels, and surely: found with drawn planes, of which none does both.
inline constexpr double kBent = 0.2, kSurelyBent = 20;
inline constexpr size_t kBatch = 4;  // Frames that are refined at the same time.

struct Tracker {
  const PlaneFrames& frames;
  const PlaneOptions& options;
  const Runner& runner;
  Rect picture;
  Reference reference;
  std::function<std::optional<Guess>(const FeatureImage&)> find;  // In the whole frame, after a loss.
  double reference_noise;
  bool clean = false;  // The reference is a texture of many frames.

  struct Past {  // What the last frames tell about the next one.
    Alignment last;
    Picture image;
    std::vector<Matrix3> before;  // Where it was in the frames before `last`, the nearest first.
    bool lost = false;
    std::optional<Path> reference_path;  // Once a neighbour of the reference is known.
  };
  struct Found {
    Alignment alignment;
    Pose pose;
    double noise = 0;     // Of the frame, code values from 0 to 1.
    bool unread = false;  // There is no picture of that size.
  };

  // From a frame on which the plane's place is given.
  Past set_out(const Picture& image, const Matrix3& frame_from_ref, const std::optional<Path>& reference_path) const;
  // One frame further: to the coarser levels, for its neighbours are not all known yet.
  Found track(int frame, int direction, Past& past) const;
  // To the finest level, now that the frames on both sides tell how the plane moved while the shutter was open; of a
  // frame that is hidden so far, from where they have it.
  Found refine(const Picture& image, const Picture& hidden, const Motion& motion, const Found& rough,
               const Path& reference_path) const;
  Pose judge(int frame, const Alignment& a) const;
  // What features are looked for in: the region, or the box about all parts of the plane.
  std::vector<Point> feature_support() const;

 private:
  Reference::Options alignment_options(double noise) const;
  int feature_margin() const;
  // Levels in which the frame shows the plane about as large as the reference's from finest to coarsest do, and those.
  Pyramid frame_pyramid(const Picture& image, const Rect& window, const Matrix3& frame_from_ref, int finest,
                        int coarsest, const Runner& by) const;
  // The step that the next frame takes if the plane goes on as it went: at the same speed or, where that would have
  // told the last frame better, with the same change of speed.
  Matrix3 next_step(const Past& past) const;
  // The step of what is seen of the plane in the last frame.
  std::optional<Matrix3> follow_features(const Past& past, const Picture& image, const Matrix3& expected) const;
  double share_inside(const Matrix3& frame_from_ref) const;  // Of the plane's parts, in the picture.
  FeatureImage features_around(const Picture& image, const std::vector<Matrix3>& places) const;
};

}  // namespace pw
