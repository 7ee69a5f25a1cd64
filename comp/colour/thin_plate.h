// Smooth fields on a grid through weighted, scattered values.
#pragma once
#include <memory>
#include <vector>

namespace pw {

// Least squares on a columns x rows grid: sum w (u - y)^2 + stiffness * (squared second differences, xx + 2 xy + yy)
// + pull * u^2. Where nothing is known the field goes on straight, or back to 0 as pull asks.
// The system's structure is worked out once and serves many calls; calls must not overlap.
class ThinPlate {
 public:
  ThinPlate(int columns, int rows, double stiffness, double pull);
  ThinPlate(ThinPlate&&) noexcept;
  ~ThinPlate();
  // `weight` and `weighted` (weight times value) per node, row by row. `pull` > 0 or weights that are not all on a line
  // make the answer unique; else zeros come back.
  std::vector<double> fit(const std::vector<double>& weight, const std::vector<double>& weighted);

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

}  // namespace pw
