#include "comp/media/letterbox.h"

#include <gtest/gtest.h>

#include "clips.h"
#include "comp/media/probe.h"

namespace pw::letterbox_test {

const Rect kWhole = Rect::sized(40, 30);

// Random code values of 8 bits from 60 up inside `active`, around it `bar` and up to `stray` more.
Picture frame(const Rect& active, int bar, int stray, unsigned seed, Encoding e = Encoding::srgb) {
  const auto random = samples::random_values<uint8_t>(size_t{3} * kWhole.area(), seed);
  Canvas c(kWhole, 3);
  for (int y = 0; y < 30; ++y)
    for (int x = 0; x < 40; ++x)
      for (int k = 0; k < 3; ++k) {
        const int r = random[size_t{3} * (40 * y + x) + k],
                  code = active.contains(x, y) ? 60 + r / 2 : bar + r % (stray + 1);
        c.at(x, y)[k] = static_cast<float>(decode(e, code / 255.0));
      }
  *c.at(0, 0) = static_cast<float>(decode(e, bar / 255.0));
  return std::move(c).finish();
}

TEST(Letterbox, TheActivePartIsFound) {
  for (const Rect& active : {Rect{0, 4, 40, 26}, Rect{7, 0, 33, 30}, Rect{1, 2, 38, 27}, Rect{0, 9, 40, 30}})
    for (const Encoding e : {Encoding::srgb, Encoding::rec709_camera, Encoding::bt1886, Encoding::hlg, Encoding::pq})
      for (int bar : {0, 16}) {
        const std::vector<Picture> frames{frame(active, bar, 2, 1, e), frame(active, bar, 2, 2, e)};
        EXPECT_EQ(active_part(frames, e), active) << name(e) << bar;
      }
}

TEST(Letterbox, WhatIsNoBarIsNone) {
  EXPECT_EQ(active_part(std::vector{frame(kWhole, 0, 0, 1)}, Encoding::srgb), std::nullopt);
  EXPECT_EQ(active_part(std::vector{frame({0, 4, 40, 26}, 30, 0, 1)}, Encoding::srgb), std::nullopt) << "not dark";
  EXPECT_EQ(active_part(std::vector{frame({0, 4, 40, 26}, 0, 12, 1)}, Encoding::srgb), std::nullopt) << "not even";
  Canvas spot = Canvas::copy(frame({0, 4, 40, 26}, 0, 0, 1), kWhole);
  spot.at(20, 0)[1] = 0.05f;
  EXPECT_EQ(active_part(std::vector{std::move(spot).finish()}, Encoding::srgb), (Rect{0, 0, 40, 26})) << "a lamp";
  EXPECT_EQ(active_part(std::vector{frame({}, 0, 0, 1)}, Encoding::srgb), std::nullopt) << "all black";
  EXPECT_EQ(active_part({}, Encoding::srgb), std::nullopt);
}

TEST(Letterbox, AFrameWithoutPictureTellsNothingAndEachOtherFrameCounts) {
  const std::vector<Picture> frames{frame({}, 0, 0, 1), frame({0, 6, 40, 20}, 0, 0, 2), frame({0, 4, 40, 18}, 0, 0, 3)};
  EXPECT_EQ(active_part(frames, Encoding::srgb), (Rect{0, 4, 40, 20}));
}

TEST(Letterbox, ProbeSaysWhatToTypeWhateverTheCoderMadeOfTheEdges) {
  const std::string file = samples::folder() + "boxed.mp4";
  for (int rate_factor : {12, 23}) {
    clips::ffmpeg(fmt::format(
        "-f lavfi -i testsrc2=size=160x96:rate=25 -frames:v 12 -vf "
        "gblur=sigma=2,pad=160:128:0:18,setparams=colorspace=bt709:color_trc=bt709 -pix_fmt yuv420p -c:v libx264 "
        "-crf {} {}",
        rate_factor, file));
    const auto p = probe(file);
    ASSERT_TRUE(p);
    EXPECT_EQ(lines(*p).back(), "bars         it looks letterboxed; say so in the shot: active = [0, 18, 160, 114]");
  }
}

}  // namespace pw::letterbox_test
