// Reconstruction filters: how values between pixel centres are made. Each is a symmetric kernel of unit spacing, used
// once along each axis, made of one polynomial per unit of distance.
#pragma once
#include <array>
#include <optional>
#include <string_view>

namespace pw {

// linear: 2 pixels wide. Fast; dulls detail.
// cubic: 4 wide. R. G. Keys, "Cubic convolution interpolation for digital image processing", IEEE Transactions on
//   Acoustics, Speech, and Signal Processing 29(6), 1981, with a = -1/2: exact for quadratics.
// sharp: 6 wide, quartic. Passes through the pixels, has a steady slope and is exact for quadratics; what that leaves
//   free (two numbers) has the least expected squared error for pictures whose amplitude falls with frequency as f^-1.1
//   and that were taken through a pixel's square and a lens blur of sigma 0.35 to 0.7 pixels (derived; the criterion is
//   that of best linear prediction of a stationary field).
// smooth: 4 wide, the cubic B-spline without prefilter: never negative, never overshoots, blurs.
enum class Filter { linear, cubic, sharp, smooth };

std::string_view name(Filter f);
std::optional<Filter> filter(std::string_view name);

// Width of the kernel in pixels: 2, 4 or 6.
int taps(Filter f);
// True when the filter leaves pixel values at pixel centres unchanged.
bool interpolates(Filter f);
// The kernel at a distance of x pixels.
double kernel(Filter f, double x);

// Coefficient `power` of the polynomial of piece j = floor(|x|) in u = |x| - j; zero for pieces beyond the kernel.
struct KernelPieces {
  int pieces = 0;
  std::array<std::array<double, 5>, 3> c{};
};
const KernelPieces& pieces(Filter f);

}  // namespace pw
