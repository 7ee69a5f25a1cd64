#include "track/json_tree.h"

#include <gtest/gtest.h>

namespace pw::json_tree_test {

TEST(JsonTree, ValuesAndPlaces) {
  const auto j = parse_json("{\"a\": [1, -2.5e3,\n  true], \"b\": {\"c\": \"x\\u00e9\"}, \"n\": null}", "f");
  ASSERT_TRUE(j) << to_string(j.error());
  const Json* a = j->find("a");
  ASSERT_TRUE(a);
  ASSERT_EQ(a->list.size(), 3u);
  EXPECT_EQ(a->list[1].number, -2500);
  EXPECT_EQ(a->list[2].kind, Json::Kind::boolean);
  EXPECT_EQ(a->list[2].line, 2);
  EXPECT_EQ(a->line, 1);
  EXPECT_EQ(a->column, 7);
  EXPECT_EQ(j->find("b")->find("c")->text, "x\xc3\xa9");
  EXPECT_EQ(j->find("n")->kind, Json::Kind::null);
  EXPECT_EQ(j->find("missing"), nullptr);
}

TEST(JsonTree, Refusals) {
  EXPECT_EQ(to_string(parse_json("{\"a\": 1, \"a\": 2}", "f").error()), "f:1:16: the key 'a' is given twice\n");
  EXPECT_EQ(to_string(parse_json(std::string(40, '['), "f").error()),
            "f:1:13: lists and tables are nested too deeply\n");
  for (const char* bad : {"", "{", "[1,]", "nul", "\"\xff\"", "1e999", "[1] 2", "{1: 2}"})
    EXPECT_FALSE(parse_json(bad, "f")) << bad;
}

}  // namespace pw::json_tree_test
