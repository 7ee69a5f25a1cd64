#include "base/problem.h"

#include <gtest/gtest.h>

namespace pw::problem_test {

TEST(Problem, ReadsAsOneLine) {
  Problem p{.what = "wall.region has 3 corners",
            .remedy = "a plane needs 4 or more",
            .file = "quay.toml",
            .line = 31,
            .column = 10};
  EXPECT_EQ(to_string(p), "quay.toml:31:10: wall.region has 3 corners; a plane needs 4 or more");
  p.severity = Severity::warning;
  p.column = 0;
  EXPECT_EQ(to_string(p), "quay.toml:31: warning: wall.region has 3 corners; a plane needs 4 or more");
  EXPECT_EQ(to_string(Problem{.what = "no such thing", .frame = 7}), "frame 7: no such thing");
}

TEST(Problem, WarningsAreNoErrors) {
  EXPECT_FALSE(any_error({Problem{.what = "w", .severity = Severity::warning}}));
  EXPECT_TRUE(any_error({Problem{.what = "w", .severity = Severity::warning}, Problem{.what = "e"}}));
  const Result<int> r = fail(Problem{.what = "e"});
  ASSERT_FALSE(r);
  EXPECT_EQ(to_string(r.error()), "e\n");
}

}  // namespace pw::problem_test
