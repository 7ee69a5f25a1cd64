#include "track/score.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>

namespace pw {

TrackScore score(const Motion& track, const Motion& truth) {
  TrackScore s;
  // From the truth's reference to the track's.
  Matrix3 track_ref_from_truth_ref = Matrix3::Identity();
  bool linked = true;
  if (track.reference != truth.reference) {
    const Pose* p = track.find(truth.reference);
    linked = p && p->status != TrackStatus::lost;
    if (linked) track_ref_from_truth_ref = p->frame_from_ref.inverse();
  }
  double squares = 0, discrepancies = 0;
  int known = 0;
  std::array<int, 3> within{};
  for (const Pose& t : truth.poses) {
    if (t.frame == truth.reference) continue;
    FrameScore f{t.frame};
    const Pose* p = track.find(t.frame);
    if (p) f.status = p->status;
    f.known = linked && p && p->status != TrackStatus::lost;
    if (f.known) {
      const Matrix3 h = p->frame_from_ref * track_ref_from_truth_ref;
      double sum = 0;
      for (size_t i = 0; i < truth.region.size(); ++i) {
        const Point& c = truth.region[i];
        const std::optional<Point> seen = track.bent() ? track.seen_between(t.frame, truth.reference, c) : map(h, c);
        const std::optional<Point> want = !t.corners.empty() ? t.corners[i]
                                          : truth.bent()     ? truth.seen_between(t.frame, truth.reference, c)
                                                             : map(t.frame_from_ref, c);
        const double d = seen && want ? (*seen - *want).norm() : INFINITY;
        sum += d * d, f.worst_px = std::max(f.worst_px, d);
      }
      f.rms_px = std::sqrt(sum / double(truth.region.size()));
      const Matrix3 away = h * t.frame_from_ref.inverse();
      const double w = truth.width, e = truth.height;
      for (const Point& c : {Point(0, 0), Point(w, 0), Point(w, e), Point(0, e)})
        f.discrepancy_px += (map(away, c) - c).norm() / 4;
      f.lost = !(f.rms_px <= 5) || (f.status == TrackStatus::good && !(f.rms_px <= 3));
      squares += f.rms_px * f.rms_px;
      discrepancies += f.discrepancy_px;
      s.worst_px = std::max(s.worst_px, f.rms_px);
      ++known;
      for (size_t i = 0; i < within.size(); ++i) within[i] += f.rms_px <= TrackScore::kPrecision[i];
    } else {
      f.lost = true;
    }
    s.lost += f.lost;
    s.frames.push_back(f);
  }
  if (known) s.rms_px = std::sqrt(squares / known), s.discrepancy_px = discrepancies / known;
  if (!s.frames.empty())
    for (size_t i = 0; i < within.size(); ++i) s.precision[i] = double(within[i]) / double(s.frames.size());
  return s;
}

}  // namespace pw
