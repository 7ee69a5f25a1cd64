// How far a picture is from the truth: PSNR, and SSIM of Z. Wang, A. C. Bovik, H. R. Sheikh, E. P. Simoncelli, "Image
// quality assessment: from error visibility to structural similarity", IEEE Trans. Image Processing 13(4), 2004.
#pragma once
#include <cstdint>
#include <optional>

#include "base/picture.h"
#include "base/problem.h"
#include "comp/colour/encoding.h"

namespace pw {

struct Difference {
  int64_t pixels = 0;  // Compared.
  double mse = 0;      // Mean over pixels and channels of the squared difference.
  double psnr = 0;     // 10 log10(peak^2 / mse), dB; infinite when nothing differs.
  double max_abs = 0;
  // Mean over channels and window centres; nothing when no window fits. K1 = 0.01, K2 = 0.03, 11 x 11 Gaussian windows
  // of sigma 1.5 that lie wholly in the rectangle, covariances of the population.
  std::optional<double> ssim;
};

// Compares the values as they are, so encode first when code values are meant; 0 to `peak` is the range. Of pictures
// with 3 or 4 channels the 3 of colour are compared, alpha is not. With a matte only pixels, and windows centred on
// pixels, where it is above 0.5 count. Outside its window a picture or matte is clear.
// Problems: channel counts that cannot be compared; no pixel to compare.
Result<Difference> difference(const Picture& a, const Picture& b, const Rect& over, double peak = 1,
                              const Picture* matte = nullptr);

// A linear picture in values of that encoding, alpha aside; colour stays multiplied by alpha (it is seen over black).
Picture encoded(const Picture& linear, Encoding e);

}  // namespace pw
