// The colour of movies: luma and two colour differences (Y'CbCr), often with fewer samples of the differences, against
// encoded R'G'B' in floats. The transfer curve is not undone here (comp/colour/encoding.h does that).
//
// Y' = Kr R' + Kg G' + Kb B',  Cb = (B' - Y') / (2 (1 - Kb)),  Cr = (R' - Y') / (2 (1 - Kr)).
// Narrow range of n bits: Y' 0..1 is 16..235 times 2^(n-8), Cb and Cr -0.5..0.5 are 16..240 times 2^(n-8). Full range:
// Y' 0..1 is 0..2^n - 1, and a difference of 0 is 2^(n-1). ITU-R BT.601-7, BT.709-6, BT.2020-2 (tables 3 to 5);
// ITU-T H.273 (equations 20 to 40) has them all together.
//
// Values beyond black and white are kept: they come back when the picture is written again.
#pragma once
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

namespace pw {

// Which weights make luma. none: the components are G', B', R' themselves.
enum class Matrix { rec601, rec709, rec2020, smpte240, fcc, none };
std::string_view name(Matrix m);  // "rec601", "rec709", "rec2020", "smpte240", "fcc", "none".
struct LumaWeights {
  double red, blue;
};
LumaWeights luma_weights(Matrix m);  // Of none: those of rec709.

enum class Range { narrow, full };  // The words of BT.2100.
std::string_view name(Range r);

// Where a sample of Cb and Cr lies among the luma samples it stands for, from the centre of the top-left one, in luma
// pixels of a pair: 0 on it, 0.5 between two, 1 on the next.
struct Siting {
  double x = 0, y = 0.5;
  bool operator==(const Siting&) const = default;
};
inline constexpr Siting kLeft{0, 0.5}, kCentre{0.5, 0.5}, kTopLeft{0, 0};
std::string_view name(const Siting& s);  // "left", "centre", "top-left", "top", "bottom-left", "bottom".

// One component of a frame in memory.
struct Component {
  unsigned char* data = nullptr;  // Null: the frame has none.
  int64_t stride = 0;             // Bytes from row to row; negative when the frame is stored upside down.
  int step = 1;                   // Bytes from sample to sample.
  int bits = 8, shift = 0;        // 8: a byte; more: 16 bits in memory, of which `bits` from bit `shift` on.
  bool big_endian = false;
};

// A frame in memory, owned by someone else.
struct Planes {
  int width = 0, height = 0;
  int share_x = 0, share_y = 0;  // Two to this power pixels share a sample of Cb and Cr in a row, in a column.
  int colours = 3;               // 1: grey.
  Component colour[3];           // Y', Cb, Cr; or R', G', B' with Matrix::none.
  Component alpha;               // Always of full range.
  int channels() const { return alpha.data ? 4 : colours; }
};

struct YuvRules {
  Matrix matrix = Matrix::rec709;
  Range range = Range::narrow;
  Siting siting = kLeft;
};

// Rows of encoded R'G'B' (or grey, or R'G'B'A) out of a frame, `channels()` interleaved. Missing samples of Cb and Cr
// are interpolated linearly between their true places. Not thread safe: each thread has its own.
class RowsFromPlanes {
 public:
  RowsFromPlanes(const Planes& planes, const YuvRules& rules);
  void row(int y, float* out);

 private:
  void differences(const Component& c, int y, std::vector<float>& full);
  Planes planes_;
  YuvRules rules_;
  std::vector<float> luma_, cb_, cr_, above_, below_;
  std::vector<int> from_;      // Per pixel: the sample of Cb at or before it.
  std::vector<float> weight_;  // And the weight of the one after.
};

// The way back: writes the frame's samples row by row, rounded to the nearest code and clamped to what the bits hold
// (in narrow range that is beyond black and white). Cb and Cr are low-passed first: (1 2 1)/4 along a row when they lie
// on a pixel, the mean of those that share them otherwise. Rows come in order, from 0.
//
// Each is the nearest code, as the recommendations have it; but three rounded components can add up to a colour that
// comes back 1.41 codes off (narrow range of BT.709). Where every pixel has its own Cb and Cr and a colour would be
// more than one code off, the three are chosen together: the luma code below or above with the differences nearest for
// it, whichever is less off: no colour is then more than one code off.
class PlanesFromRows {
 public:
  PlanesFromRows(const Planes& planes, const YuvRules& rules);
  void row(int y, const float* in, int channels);  // 1, 3 or 4; grey is spread, missing alpha is 1.

 private:
  void round_together(const float* in, int channels);
  Planes planes_;
  YuvRules rules_;
  std::vector<float> luma_, cb_, cr_, alpha_, cb_sum_, cr_sum_;
};

}  // namespace pw
