// Mattes put together: one channel, 0 to 1, 0 outside of a picture's window.
#pragma once
#include <span>

#include "base/picture.h"

namespace pw {

// a + b - ab, over all of them: what is covered by any, when the parts of a pixel that each covers have nothing to do
// with each other, which is what Porter and Duff (1984) assume. 0 and 1 stay exact, and a matte alone its own bits.
// (Largest of all would be right only where edges coincide, and leaves a seam where two things abut.)
Picture added(std::span<const Picture> mattes, const Rect& rect);

// a (1 - b): `from` where `away` is not.
Picture cut(const Picture& from, const Picture& away, const Rect& rect);

// 1 - a, also outside of its window.
Picture inverted(const Picture& matte, const Rect& rect);

// Gaussian blur of deviation 0.378 feather_px, which takes a straight edge from about 0 to about 1 between feather_px
// outside and inside of it: within 0.04 of an outline's own feather (comp/matte/raster.h). 0 returns the matte.
// Flat parts keep their bits; the same bits for a pixel whatever rectangle it is part of.
Picture feathered(const Picture& matte, double feather_px, const Rect& rect);
// How far beyond its rectangle feathered() looks, pixels.
int feather_reach(double feather_px);

}  // namespace pw
