// The colour correction of the ASC CDL, version 1.2, against values of an independent implementation, published in
// OpenColorIO, tests/cpu/ops/cdl/CDLOp_tests.cpp (tolerance there 2e-6).
#include "comp/colour/cdl.h"

#include <gtest/gtest.h>

#include <array>

namespace pw::cdl_test {

using Rgb = std::array<double, 3>;

Rgb corrected(const Rgb& in, const Cdl& cdl, bool clamp) {
  const float v[] = {float(in[0]), float(in[1]), float(in[2])};
  const Rect one = Rect::sized(1, 1);
  const Picture p = pw::corrected(Canvas::filled(one, 3, v).finish(), cdl, {Encoding::linear, clamp}, one);
  return {p.row(0)[0], p.row(0)[1], p.row(0)[2]};
}
void expect_near(const Rgb& is, const Rgb& should, double tolerance) {
  for (int k = 0; k < 3; ++k) EXPECT_NEAR(is[k], should[k], tolerance) << k;
}

const Cdl kPublished{{1.35, 1.1, 0.071}, {0.05, -0.23, 0.11}, {0.93, 0.81, 1.27}, 1.23};

TEST(PublishedCdl, Clamped) {
  const struct {
    Rgb in, out;
  } rows[] = {{{.3278, .01, 1.0}, {.609399, 0, .113130}}, {{.25, .5, .75}, {.422056, .401466, .035820}},
              {{-.2, .5, 1.4}, {0, .421096, .101225}},    {{-.25, -.5, -.75}, {0, 0, .031735}},
              {{0, .8, .99}, {0, .746748, .018691}},      {{1.25, 1.5, 1.75}, {1, 1, 0}},
              {{0, 0, 0}, {.071827, 0, .070533}}};
  for (const auto& row : rows) expect_near(corrected(row.in, kPublished, true), row.out, 3e-6);
}

TEST(PublishedCdl, NotClamped) {
  const struct {
    Rgb in, out;
  } rows[] = {{{.25, .5, .75}, {.422056, .401466, .035820}},
              {{-.25, -.5, -.75}, {-.211694, -.817469, .174100}},
              {{1.25, 1.5, 1.75}, {1.753162, 1.331130, -.108181}}};
  for (const auto& row : rows) expect_near(corrected(row.in, kPublished, false), row.out, 3e-6);
}

TEST(PublishedCdl, WorkedByHand) {  // From the formula.
  Cdl c{{1.2, 1, .8}, {.1, 0, -.1}, {2, 1, .5}, 1};
  expect_near(corrected({.5, .25, .75}, c, true), {.49, .25, .707107}, 1e-6);
  c.saturation = .5;
  expect_near(corrected({.5, .25, .75}, c, true), {.412014, .292014, .520567}, 1e-6);
  c.saturation = 0;
  expect_near(corrected({.5, .25, .75}, c, true), {.334027, .334027, .334027}, 1e-6);
}

}  // namespace pw::cdl_test
