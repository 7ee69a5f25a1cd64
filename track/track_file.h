// Tracks as text: the track file (JSON), truth files, and corner positions as CSV. Writing a file whole or not at all
// is the caller's part.
#pragma once
#include <string>
#include <string_view>

#include "base/motion.h"
#include "base/problem.h"
#include "track/corrected.h"

namespace pw {

// {"format": "platewright-track", "version": 1, "size": [w, h], "reference": n, "region": [[x, y], ...], "frames":
// [{"frame": n, "frame_from_ref": 3 rows of 3 with h33 = 1, "status": "good", "residual": r, "corner_covariance":
// [...], "reason": "..."}, ...]}; corner_covariance is 2n x 2n, row major, px^2, left out when not known; so is an
// empty reason. "lens": [k1, k2], "readout" and "readout_sd" (base/lens.h, base/motion.h) are left out when they are 0,
// "chosen" (why the reference and region were chosen) when they were given. Numbers are written so that they are read
// back to the last bit.
std::string track_text(const Motion& motion);

// `file` is what problems call it. Problems point at line and column. Unknown keys are ignored, so that later versions
// may add some; another version number is refused.
Result<Motion> parse_track(std::string_view text, const std::string& file);

// {"size": [w, h], "reference": n, "region": [[x, y], ...], "frames": {"1": 3 rows of 3, ...}}: every pose is good.
// Where no homography says where the region's corners are seen, "corners": {"1": [[x, y], ...], ...} does.
Result<Motion> parse_truth(std::string_view text, const std::string& file);

// One row a frame: frame, x0, y0, x1, y1, ... of where the region's corners are seen, status. A header names the
// columns. Frames that are lost, or on which the lens does not show a corner, have their row with empty positions.
std::string corners_csv(const Motion& motion);

// The same in: the header is optional, so is the status; the row of frame `reference` is the region. Four or more
// corners; frames need no order but each must be there once.
Result<Motion> parse_corners_csv(std::string_view text, const std::string& file, int width, int height, int reference);

// Rows of the same kind, for the frames a person has corrected alone, in the file's order; see fixed_poses().
Result<std::vector<FixedCorners>> parse_fixed_corners(std::string_view text, const std::string& file);

}  // namespace pw
