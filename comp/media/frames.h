// Sets of frame numbers in the words a person uses: 1-48, 1-48x2, 5,9,12.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "base/problem.h"

namespace pw {

// Parts divided by commas: a number, first-last, or first-lastxstep (every step-th from the first). Numbers may be
// negative. The result is ascending, each frame once. Problems: nothing named, not a number, last before first, a step
// below 1, more than a million frames. Problem::file is left empty.
Result<std::vector<int>> parse_frames(std::string_view text);

// The shortest such text for ascending frames: "1-11, 13, 15-48"; "none" when there are none.
std::string frames_text(const std::vector<int>& frames);

// Frames from the first to the last of `frames` (ascending) that are not among them.
std::vector<int> gaps(const std::vector<int>& frames);

// "frame 20 is missing", "frames 12-14, 20 are missing"; empty when `frames` is.
std::string missing_text(const std::vector<int>& frames);

}  // namespace pw
