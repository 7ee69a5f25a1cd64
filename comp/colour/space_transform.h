// One way between the code values of a colour space and scene-linear light of Rec.709's primaries, white D65.
#pragma once
#include <cstddef>
#include <cstdint>
#include <string>

namespace pw {

class SpaceTransform {
 public:
  virtual ~SpaceTransform() = default;
  // Pixels of four floats, in place: red, green, blue, and a fourth that is 1. Of a pixel the result depends on that
  // pixel alone. Thread safe. May make what is no finite number.
  virtual void apply(float* rgba, size_t count) const = 0;
  // Changes when what apply() gives changes, by whatever means: numbers, look-up files, the library.
  virtual const std::string& identity() const = 0;
};

// Pixels of 3 or 4 channels, in place; the fourth stays as it is. Returns how many values came out as no finite
// numbers; they become 0 or +-65504.
int64_t transform(const SpaceTransform& t, float* pixels, size_t count, int channels);

// The same for colour that is multiplied by alpha, before and after.
int64_t transform_premultiplied(const SpaceTransform& t, float* pixels, size_t count, int channels);

}  // namespace pw
