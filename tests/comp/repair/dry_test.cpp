#include "comp/repair/dry.h"

#include <gtest/gtest.h>

namespace pw::dry_test {

TEST(Dry, IsLessWhatRainAdds) {
  const Rect w = Rect::sized(96, 48);
  const float light[] = {0.4f, 0.2f, 0.1f, 1}, half[] = {0.2f, 0.1f, 0.05f, 0.5f};
  const std::array<double, 3> rain{0.05, 0.1, 2};
  const Picture all = Canvas::filled(w, 4, light).finish(), thin = Canvas::filled(w, 4, half).finish();
  for (const Picture& p : {all, thin}) {
    const float cover = p.at(50, 20)[3];
    const Picture d = dried(p, rain, around_drops(p, w), w);
    EXPECT_NEAR(d.at(50, 20)[0], cover * 0.4 * 0.95, 1e-6);
    EXPECT_NEAR(d.at(50, 20)[1], cover * 0.2 * 0.9, 1e-6);
    EXPECT_EQ(d.at(50, 20)[2], 0);
    EXPECT_EQ(d.at(50, 20)[3], cover);
  }
  EXPECT_TRUE(same_bits(dried(all, {}, around_drops(all, w), w), all));
}

}  // namespace pw::dry_test
