#include "warp/filter.h"

#include <cmath>

namespace pw {
namespace {

constexpr std::string_view kNames[] = {"linear", "cubic", "sharp", "smooth"};

constexpr KernelPieces kPieces[] = {
    {1, {{{1, -1}}}},
    {2, {{{1, 0, -2.5, 1.5}, {0, -0.5, 1, -0.5}}}},
    {3, {{{1, 0, -1.964, 0.684, 0.28}, {0, -0.756, 0.964, 0.212, -0.42}, {0, 0.128, -0.116, -0.152, 0.14}}}},
    {2, {{{2 / 3., 0, -1, 0.5}, {1 / 6., -0.5, 0.5, -1 / 6.}}}},
};

}  // namespace

std::string_view name(Filter f) { return kNames[static_cast<int>(f)]; }

std::optional<Filter> filter(std::string_view name) {
  for (int i = 0; i < 4; ++i)
    if (kNames[i] == name) return static_cast<Filter>(i);
  return std::nullopt;
}

const KernelPieces& pieces(Filter f) { return kPieces[static_cast<int>(f)]; }

int taps(Filter f) { return 2 * pieces(f).pieces; }

bool interpolates(Filter f) { return f != Filter::smooth; }

double kernel(Filter f, double x) {
  const KernelPieces& k = pieces(f);
  x = std::abs(x);
  if (!(x < k.pieces)) return 0;
  const int j = static_cast<int>(x);
  const double u = x - j;
  return (((k.c[j][4] * u + k.c[j][3]) * u + k.c[j][2]) * u + k.c[j][1]) * u + k.c[j][0];
}

}  // namespace pw
