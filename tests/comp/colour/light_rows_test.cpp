#include "comp/colour/light_rows.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <string>

namespace pw::light_rows_test {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

// Names another folder for temporary files until the test ends.
class TemporaryFolder {
 public:
  explicit TemporaryFolder(const std::string& path) {
    if (const char* before = std::getenv("TMPDIR")) before_ = before;
    ::setenv("TMPDIR", path.c_str(), 1);
  }
  ~TemporaryFolder() { before_.empty() ? ::unsetenv("TMPDIR") : ::setenv("TMPDIR", before_.c_str(), 1); }

 private:
  std::string before_;
};

TEST(LightRows, ComeBackAsTheyWerePutIn) {
  auto rows = LightRows::create(3);
  ASSERT_TRUE(rows);
  const float value[] = {1, -2, 0.1f}, weight[] = {0, 4, 0}, none[] = {0, 0, 0}, trust[] = {0, 2, 0};
  ASSERT_TRUE(rows->add(value, weight));
  ASSERT_TRUE(rows->add(none, none));
  EXPECT_EQ(rows->count(), 2u);
  EXPECT_TRUE(rows->shows(0));
  EXPECT_FALSE(rows->shows(1));
  LightRow row;
  rows->read(0, row);
  EXPECT_THAT(row.value, ElementsAre(1, -2, 0.1f));
  EXPECT_THAT(row.weight, ElementsAre(0, 4, 0));
  EXPECT_THAT(row.trust, ElementsAre(0, 4, 0));
  rows->set_trust(0, trust);
  const LightRows moved = std::move(*rows);
  moved.read(0, row);
  EXPECT_THAT(row.weight, ElementsAre(0, 4, 0));
  EXPECT_THAT(row.trust, ElementsAre(0, 2, 0));
  moved.read(1, row);
  EXPECT_THAT(row.trust, ElementsAre(0, 0, 0));
}

TEST(LightRows, LeaveNothingBehind) {
  const auto folder = std::filesystem::temp_directory_path() / "pw_light_rows";
  std::filesystem::create_directory(folder);
  {
    const TemporaryFolder here(folder.string());
    auto rows = LightRows::create(2);
    ASSERT_TRUE(rows);
    EXPECT_TRUE(std::filesystem::is_empty(folder));
  }
  std::filesystem::remove(folder);
}

TEST(LightRows, SayWhereThereIsNoRoom) {
  const TemporaryFolder full("/proc");  // A folder in which nobody can make a file.
  const auto rows = LightRows::create(2);
  ASSERT_FALSE(rows);
  EXPECT_THAT(rows.error()[0].what, HasSubstr("no temporary file can be written in /proc"));
  EXPECT_THAT(rows.error()[0].remedy, HasSubstr("TMPDIR"));
}

}  // namespace
}  // namespace pw::light_rows_test
