// What a picture file's own bytes say about its size and wholeness, read before a decoder sees them: sizes are refused
// before memory is taken, and files that are cut off or damaged are told apart from good ones where decoders keep quiet
// (a JPEG that stops early is grey below, a DPX that does is black).
//
// Layouts follow PNG (W3C, 3rd ed.), JPEG (ITU-T T.81 annex B), OpenEXR File Layout, SMPTE ST 268-1 (DPX) and TIFF 6.0.
#pragma once
#include <optional>

#include "comp/media/signature.h"

namespace pw {

// Pictures larger than this on a side or altogether are refused.
constexpr int64_t kMostSide = 65536;
constexpr int64_t kMostPixels = int64_t{1} << 28;
constexpr int64_t kFarthest = int64_t{1} << 24;  // Windows reach no further than this from the origin.

// The problem with a size, if any: not positive or above the limits.
std::optional<Problem> size_problem(int64_t width, int64_t height);

// The problem with the whole content of a file of type `t`, if any; Problem::file is left empty.
std::optional<Problem> structure_problem(FileType t, ByteSpan bytes);

Problem cut_off();  // "the file is cut off; copy or render it again"
Problem damaged();  // "the file is damaged; copy or render it again"

}  // namespace pw
