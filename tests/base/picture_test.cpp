#include "base/picture.h"

#include <gtest/gtest.h>

#include <cstdint>

#include "base/pool.h"

namespace pw::picture_test {

Picture ramp(const Rect& r, int channels) {
  Canvas c(r, channels);
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x)
      for (int k = 0; k < channels; ++k) c.at(x, y)[k] = float(100 * y + 10 * x + k);
  return std::move(c).finish();
}

TEST(Picture, CropSharesThePixels) {
  const Picture p = ramp({-3, -2, 5, 4}, 3), q = p.cropped({-1, 0, 99, 2});
  EXPECT_EQ(q.window(), (Rect{-1, 0, 5, 2}));
  EXPECT_EQ(q.at(2, 1), p.at(2, 1));
  EXPECT_TRUE(p.cropped({50, 50, 60, 60}).empty());
}

TEST(Picture, CropOutlivesItsSource) {
  Picture q;
  { q = ramp({0, 0, 9, 9}, 2).cropped({4, 4, 6, 6}); }
  EXPECT_EQ(q.at(5, 5)[1], 551.f);
}

TEST(Picture, MovedKeepsThePixels) {
  const Picture p = ramp({0, 0, 4, 4}, 1).moved(10, -5);
  EXPECT_EQ(p.window(), (Rect{10, -5, 14, -1}));
  EXPECT_EQ(p.at(11, -3)[0], 210.f);
}

TEST(Picture, CopyIsClearOutside) {
  Canvas c = Canvas::copy(ramp({0, 0, 3, 3}, 1), {-1, -1, 5, 5});
  EXPECT_EQ(c.at(-1, 2)[0], 0.f);
  EXPECT_EQ(c.at(2, 2)[0], 220.f);
  EXPECT_EQ(c.at(3, 0)[0], 0.f);
}

TEST(Picture, SameBitsSeesEveryDifference) {
  const Picture p = ramp({0, 0, 4, 4}, 3);
  EXPECT_TRUE(same_bits(p, ramp({0, 0, 4, 4}, 3)));
  EXPECT_FALSE(same_bits(p, ramp({0, 0, 4, 3}, 3)));
  EXPECT_FALSE(same_bits(p, ramp({0, 0, 4, 4}, 4)));
  Canvas c = Canvas::copy(p, p.window());
  c.at(3, 3)[2] += 1;
  EXPECT_FALSE(same_bits(p, std::move(c).finish()));
}

TEST(Pool, GivesBigBuffersBackAligned) {
  const auto before = pool_use().held_bytes;
  float* first;
  {
    auto b = take_buffer(3'000'000);
    first = b.get();
    EXPECT_EQ(reinterpret_cast<uintptr_t>(first) % (2u << 20), 0u);
    EXPECT_GE(pool_use().held_bytes, before + 12'000'000);
  }
  EXPECT_EQ(pool_use().held_bytes, before);
  EXPECT_EQ(take_buffer(3'000'000).get(), first);
  drop_spare_buffers();
  EXPECT_EQ(pool_use().spare_bytes, 0);
}

}  // namespace pw::picture_test
