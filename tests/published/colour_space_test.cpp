// Where Rec.709 light lies in a configuration that names the interchange spaces, against published matrices and curves.
// All numbers are from memory.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "comp/colour/ocio.h"

namespace pw::colour_space_test {

std::shared_ptr<const Colours> config() {
  const std::string dir = PW_BINARY_DIR "/colour_space_test";
  std::filesystem::create_directories(dir);
  std::ofstream(dir + "/config.ocio")
      << "ocio_profile_version: 2\n"
         "roles:\n  default: aces\n  aces_interchange: aces\n  cie_xyz_d65_interchange: xyz\n"
         "view_transforms:\n  - !<ViewTransform>\n    name: dim\n    from_scene_reference: !<MatrixTransform> {matrix: "
         "[0.5, 0, 0, 0, 0, 0.5, 0, 0, 0, 0, 0.5, 0, 0, 0, 0, 1]}\n"
         "display_colorspaces:\n  - !<ColorSpace>\n    name: xyz\n"
         // IEC 61966-2-1, XYZ from linear sRGB, to four places.
         "  - !<ColorSpace>\n    name: srgb-light\n    to_display_reference: !<MatrixTransform> {matrix: [0.4124, "
         "0.3576, "
         "0.1805, 0, 0.2126, 0.7152, 0.0722, 0, 0.0193, 0.1192, 0.9505, 0, 0, 0, 0, 1]}\n"
         "colorspaces:\n  - !<ColorSpace>\n    name: aces\n"
         // The Academy's configurations of OpenColorIO: AP0 from linear Rec.709, adapted by Bradford's method.
         "  - !<ColorSpace>\n    name: light709\n    to_scene_reference: !<MatrixTransform> {matrix: "
         "[0.439632981919491, "
         "0.382988698151554, 0.177378319928955, 0, 0.0897764429588424, 0.813439428748981, 0.0967841282921771, 0, "
         "0.0175411703831727, 0.111546553302387, 0.87091227631444, 0, 0, 0, 0, 1]}\n"
         "  - !<ColorSpace>\n    name: cct\n    to_scene_reference: !<BuiltinTransform> {style: "
         "ACEScct_to_ACES2065-1}\n";
  const auto c = Colours::open(dir + "/config.ocio", "");
  EXPECT_TRUE(c) << to_string(c.error());
  return *c;
}

void expect_same(const std::string& space, double error) {
  const auto c = config();
  float rgb[] = {1, 0, 0, 0, 1, 0, 0, 0, 1, 1, 1, 1, -0.5f, 2, 8};
  const std::vector<float> want(rgb, rgb + 15);
  const auto t = c->find(space, Colours::Way::reading);
  ASSERT_TRUE(t) << to_string(t.error());
  transform(**t, rgb, 5, 3);
  for (int i = 0; i < 15; ++i) EXPECT_NEAR(rgb[i], want[i], error * (i < 12 ? 1 : 10)) << space << " " << i;
}

TEST(PublishedColourSpaces, SceneReferredOverAces) { expect_same("light709", 2e-5); }

// Not over the view transform, which halves.
TEST(PublishedColourSpaces, DisplayReferredOverXyz) { expect_same("srgb-light", 4e-4); }

// S-2016-001 (ACEScct): 18 % grey is 0.4135884, and 0.0729055 is 0.
TEST(PublishedColourSpaces, GreyOfAcesCct) {
  const auto c = config();
  float grey[] = {0.4135884f, 0.4135884f, 0.4135884f, 0.0729055f, 0.0729055f, 0.0729055f};
  transform(**c->find("cct", Colours::Way::reading), grey, 2, 3);
  for (int k = 0; k < 3; ++k) {
    EXPECT_NEAR(grey[k], 0.18, 2e-6);
    EXPECT_NEAR(grey[3 + k], 0, 1e-6);
  }
}

}  // namespace pw::colour_space_test
