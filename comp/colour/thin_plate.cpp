#include "comp/colour/thin_plate.h"

#include <Eigen/SparseCholesky>
#include <Eigen/SparseCore>

namespace pw {

struct ThinPlate::Inside {
  Eigen::SparseMatrix<double> stiff;
  Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>> solver;
};

ThinPlate::ThinPlate(int columns, int rows, double stiffness, double pull) : inside_(std::make_unique<Inside>()) {
  const int n = columns * rows;
  std::vector<Eigen::Triplet<double>> entries;
  // One squared difference: the product of its coefficients for each pair of nodes.
  const auto add = [&](std::initializer_list<std::pair<int, double>> terms, double weight) {
    for (const auto& [i, a] : terms)
      for (const auto& [j, b] : terms) entries.emplace_back(i, j, weight * a * b);
  };
  for (int y = 0; y < rows; ++y)
    for (int x = 0; x < columns; ++x) {
      const int i = y * columns + x;
      entries.emplace_back(i, i, pull);
      if (x > 0 && x + 1 < columns) add({{i - 1, 1}, {i, -2}, {i + 1, 1}}, stiffness);
      if (y > 0 && y + 1 < rows) add({{i - columns, 1}, {i, -2}, {i + columns, 1}}, stiffness);
      if (x + 1 < columns && y + 1 < rows)
        add({{i, 1}, {i + 1, -1}, {i + columns, -1}, {i + columns + 1, 1}}, 2 * stiffness);
    }
  inside_->stiff.resize(n, n);
  inside_->stiff.setFromTriplets(entries.begin(), entries.end());
  inside_->solver.analyzePattern(inside_->stiff);
}

ThinPlate::ThinPlate(ThinPlate&&) noexcept = default;
ThinPlate::~ThinPlate() = default;

std::vector<double> ThinPlate::fit(const std::vector<double>& weight, const std::vector<double>& weighted) {
  Eigen::SparseMatrix<double> system = inside_->stiff;
  for (int i = 0; i < system.rows(); ++i) system.coeffRef(i, i) += weight[i];
  inside_->solver.factorize(system);
  if (inside_->solver.info() != Eigen::Success) return std::vector<double>(weight.size());
  const Eigen::VectorXd u =
      inside_->solver.solve(Eigen::Map<const Eigen::VectorXd>(weighted.data(), Eigen::Index(weighted.size())));
  if (!u.allFinite()) return std::vector<double>(weight.size());
  return {u.data(), u.data() + u.size()};
}

}  // namespace pw
