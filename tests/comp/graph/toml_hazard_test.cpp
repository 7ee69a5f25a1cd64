#include "comp/graph/toml_hazard.h"

#include <gtest/gtest.h>

namespace pw::toml_hazard_test {

std::string place(const std::string& text) {
  const auto h = toml_hazard(text);
  return h ? std::to_string(h->line) + ":" + std::to_string(h->column) : "";
}

TEST(TomlHazard, QuotesAndCommentsMayHoldAnything) {
  EXPECT_EQ(place("a = \"\u00e4\" # \u00e4 a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a\nb = '\u00e4'\n"), "");
  EXPECT_EQ(place("a = \"\"\"\n\u00e4 \\\"\"\"\"\"\nb = 1"), "");
  EXPECT_EQ(place("a = '''\u00e4''\u00e4'''''\n"), "");
  EXPECT_EQ(place("\xEF\xBB\xBF"
                  "a = 1\n"),
            "");
}

TEST(TomlHazard, LettersElsewhereHaveTheirPlace) {
  EXPECT_EQ(place("h\u00e4user = 3"), "1:2");
  EXPECT_EQ(place("a = \"\u00e4\\\"\u00e4\" \u00e4"), "1:12");
  EXPECT_EQ(place("a = \"\"\"x\"\"\"\" \u00e4"), "1:14");  // Four closing quotes: one belongs to the text.
  EXPECT_EQ(place("a = \"\"\"\n\u00e4\"\"\"\nb = \u00e4"), "3:5");
  EXPECT_EQ(place("a = \"unclosed \u00e4\nb = \u00e4"), "2:5");
}

TEST(TomlHazard, ManyDots) {
  std::string key = "a";
  for (int i = 0; i < 16; ++i) key += ".a";
  EXPECT_EQ(place(key + " = 1\n"), "");
  EXPECT_EQ(place("b = \"\"\"\"\"\"\n" + key + ".a = 1\n"), "2:34");
  EXPECT_EQ(place("b = { " + key + ".a = 1 }\n"), "1:40");
}

}  // namespace pw::toml_hazard_test
