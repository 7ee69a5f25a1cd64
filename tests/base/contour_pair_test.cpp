#include "base/contour_pair.h"

#include <gtest/gtest.h>

#include "drawn_shapes.h"

namespace pw::contour_pair_test {

using Pairs = std::vector<std::pair<size_t, size_t>>;

TEST(ContourPair, OrderDrawnIsKeptWhereTwoPass) {
  // Two birds fly on by the distance between them: the second one's old place is the first one's new one.
  const std::vector<Contour> before{kite({0, 0}), kite({200, 0})}, after{kite({200, 0}), kite({400, 0})};
  EXPECT_EQ(paired(before, after), (Pairs{{0, 0}, {1, 1}}));
}

TEST(ContourPair, AnotherOrderIsFound) {
  const std::vector<Contour> before{kite({0, 0}), kite({300, 0}), kite({0, 300}, 2)};
  const std::vector<Contour> after{kite({5, 303}, 2), kite({4, 1}), kite({303, 2})};
  EXPECT_EQ(paired(before, after), (Pairs{{0, 1}, {1, 2}, {2, 0}}));
}

TEST(ContourPair, SomeComeAndSomeGo) {
  const std::vector<Contour> two{kite({0, 0}), kite({300, 0})}, one{kite({290, 5})};
  EXPECT_EQ(paired(two, one), (Pairs{{1, 0}}));
  EXPECT_EQ(paired(one, two), (Pairs{{0, 1}}));
  EXPECT_EQ(paired(two, {}), Pairs{});
  EXPECT_EQ(paired({}, {}), Pairs{});
}

TEST(ContourPair, AHoleAndItsOutlineAreToldApartBySize) {
  const std::vector<Contour> before{kite({0, 0}, 2), kite({40, 40}, 0.5)}, after{kite({41, 40}, 0.5), kite({1, 0}, 2)};
  EXPECT_EQ(paired(before, after), (Pairs{{0, 1}, {1, 0}}));
}

}  // namespace pw::contour_pair_test
