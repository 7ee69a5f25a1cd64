// Change of primaries against published values.
#include "comp/colour/primaries.h"

#include <gtest/gtest.h>

namespace pw::primaries_test {

// Rec. ITU-R BT.2087-0 (2015), annex 1, step M2: linear BT.2020 from linear BT.709, as printed, to four places. The
// numbers are from memory.
TEST(PublishedPrimaries, Rec2020FromRec709) {
  Matrix3 printed;
  printed << 0.6274, 0.3293, 0.0433, 0.0691, 0.9195, 0.0114, 0.0164, 0.0880, 0.8956;
  EXPECT_LE((to_from_primaries(kRec2020, kRec709) - printed).cwiseAbs().maxCoeff(), 5.1e-5);
}

// Rec. ITU-R BT.2407-0 (2017), section 2, the linear way from BT.2020 to BT.709, to four places; from memory.
TEST(PublishedPrimaries, Rec709FromRec2020) {
  Matrix3 printed;
  printed << 1.6605, -0.5876, -0.0728, -0.1246, 1.1329, -0.0083, -0.0182, -0.1006, 1.1187;
  EXPECT_LE((to_from_primaries(kRec709, kRec2020) - printed).cwiseAbs().maxCoeff(), 5.1e-5);
}

// Grey is grey in both, since white is the same; red of BT.2020 alone is the first column above.
TEST(PublishedPrimaries, WhiteStaysWhiteAndAlphaStays) {
  float pixels[] = {1, 1, 1, 0.5f, 1, 0, 0, 0.25f, 0, 0, 0, 1};
  rec709_from_rec2020(pixels, 3, 4);
  const float want[] = {1, 1, 1, 0.5f, 1.6605f, -0.1246f, -0.0182f, 0.25f, 0, 0, 0, 1};
  for (int i = 0; i < 12; ++i) EXPECT_NEAR(pixels[i], want[i], 6e-5) << i;
}

}  // namespace pw::primaries_test
