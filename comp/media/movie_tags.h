// What the tags of a movie's stream and of its frames say, in this room's words. Code points are those of ITU-T H.273.
#pragma once
#include "comp/media/lav.h"
#include "comp/media/movie.h"

namespace pw {

// The frame as components; nothing for formats that are not handled (palettes, fewer than 8 bits, floats).
std::optional<Planes> planes_of(const AVFrame& frame);

// What a file says of its curve; bt1886 is the screen's side of BT.709.
AVColorTransferCharacteristic transfer_of(Encoding e);

// "4:2:0", "4:2:2", "4:4:4", "RGB", "grey", with " + alpha"; the format's own name for what is not handled.
std::string sampling_text(const AVFrame& frame);

// Matrix, range, siting, encoding and primaries of `info` from the first frame, the stream and what a person asked for,
// with warnings where a guess was made. Problems, without a file: a matrix or transfer that is not handled.
Result<void> settle_colour(const AVFrame& frame, const AVStream& stream, const MovieOptions& options, MovieInfo& info);

// 1 to 8 as in TIFF 6.0. Problems, without a file: turned by other than quarters.
Result<int> orientation_of(const AVStream& stream);

}  // namespace pw
