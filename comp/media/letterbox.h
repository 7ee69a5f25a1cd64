// Letterboxed frames: the picture has bars above and below, or at its sides.
#pragma once
#include <optional>
#include <span>

#include "base/picture.h"
#include "comp/colour/encoding.h"

namespace pw {

// The part of the frames that holds picture, when some rows or columns along an edge are bars in all of them: of one
// luma, within 3 code values (of 8 bits) in the mean of each, which is that of the darkest corner and no lighter than
// a tenth; what a coder's ringing adds beside the picture, up to 20 code values either way, does not count. At very low
// rates a few rows too many may be told. Frames without any picture, as before a fade in, tell nothing. `frames`: of
// one size, scene-linear; `encoding`: that of their code values. A scene as dark and even as a bar, from edge to edge,
// is taken for one.
std::optional<Rect> active_part(std::span<const Picture> frames, Encoding encoding);

}  // namespace pw
