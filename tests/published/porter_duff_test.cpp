// Porter-Duff operators against W3C Compositing and Blending Level 1 (CR 2015-01-13), "The Porter Duff Compositing
// Operators", whose shares Fa and Fb are those of T. Porter, T. Duff, "Compositing Digital Images", Computer Graphics
// 18(3), SIGGRAPH 1984 (the paper from memory). The numbers are derived from those formulas for a source of alpha 0.5,
// colour 0.8 on a backdrop of alpha 0.6, colour 0.3.
#include <gtest/gtest.h>

#include "comp/colour/layer.h"

namespace pw::porter_duff_test {

struct Row {
  const char* name;
  double colour, alpha;  // Premultiplied; before any clamp.
};
constexpr Row kTable[] = {{"clear", 0, 0},
                          {"copy", 0.40, 0.5},
                          {"destination", 0.18, 0.6},
                          {"source-over", 0.49, 0.8},
                          {"destination-over", 0.34, 0.8},
                          {"source-in", 0.24, 0.3},
                          {"destination-in", 0.09, 0.3},
                          {"source-out", 0.16, 0.2},
                          {"destination-out", 0.09, 0.3},
                          {"source-atop", 0.33, 0.6},
                          {"destination-atop", 0.25, 0.5},
                          {"xor", 0.25, 0.5},
                          {"lighter", 0.58, 1.1}};

TEST(PublishedPorterDuff, TheTableOfOperators) {
  EXPECT_EQ(std::size(kTable), all_porter_duff().size());
  for (const Row& row : kTable) {
    const auto op = porter_duff(row.name);
    ASSERT_TRUE(op) << row.name;
    EXPECT_NEAR(composite(*op, 0.5 * 0.8, 0.5, 0.6 * 0.3, 0.6), row.colour, 1e-15) << row.name;
    EXPECT_NEAR(composite(*op, 0.5, 0.5, 0.6, 0.6), row.alpha, 1e-15) << row.name;
  }
}

TEST(PublishedPorterDuff, TheSameInPictures) {
  const Rect r{0, 0, 3, 1};
  const float source[4] = {0.4f, 0.4f, 0.4f, 0.5f}, backdrop[4] = {0.18f, 0.18f, 0.18f, 0.6f};
  for (const Row& row : kTable) {
    const Picture p = layer(Canvas::filled(r, 4, backdrop).finish(), Canvas::filled(r, 4, source).finish(), nullptr,
                            {.op = *porter_duff(row.name)}, r);
    for (int x = 0; x < 3; ++x) {
      EXPECT_NEAR(p.at(x, 0)[0], row.colour, 1e-6) << row.name;
      EXPECT_NEAR(p.at(x, 0)[3], std::min(row.alpha, 1.0), 1e-6) << row.name;  // A picture's alpha ends at 1.
    }
  }
}

// W3C's own example: at alphas of one half each, each of the four regions of a pixel is a quarter.
TEST(PublishedPorterDuff, FourRegionsOfAQuarter) {
  EXPECT_EQ(composite(PorterDuff::in, 0.5, 0.5, 0.5, 0.5), 0.25);               // Both.
  EXPECT_EQ(composite(PorterDuff::out, 0.5, 0.5, 0.5, 0.5), 0.25);              // Source only.
  EXPECT_EQ(composite(PorterDuff::destination_out, 0.5, 0.5, 0.5, 0.5), 0.25);  // Destination only.
  EXPECT_EQ(1 - composite(PorterDuff::over, 0.5, 0.5, 0.5, 0.5), 0.25);         // None.
}

// Self-proving: over is associative, an empty source is its identity, a full one its result; A over B is B
// destination-over A; in and out add up to the source.
TEST(PublishedPorterDuff, Properties) {
  for (double as = 0; as <= 1; as += 0.125)
    for (double ab = 0; ab <= 1; ab += 0.125)
      for (double ac = 0; ac <= 1; ac += 0.25) {
        const double s = as * 0.7, b = ab * 0.2, c = ac * 0.9;
        const auto over = [](double x, double ax, double y, double ay) {
          return composite(PorterDuff::over, x, ax, y, ay);
        };
        EXPECT_NEAR(over(over(s, as, b, ab), over(as, as, ab, ab), c, ac),
                    over(s, as, over(b, ab, c, ac), over(ab, ab, ac, ac)), 1e-15);
        EXPECT_EQ(over(0, 0, b, ab), b);
        EXPECT_EQ(over(0.7, 1, b, ab), 0.7);
        EXPECT_EQ(over(s, as, b, ab), composite(PorterDuff::destination_over, b, ab, s, as));
        EXPECT_NEAR(composite(PorterDuff::in, s, as, b, ab) + composite(PorterDuff::out, s, as, b, ab), s, 1e-15);
      }
}

}  // namespace pw::porter_duff_test
