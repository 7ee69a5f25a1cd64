#include "base/markup.h"

#include <gtest/gtest.h>

namespace pw::markup_test {

// RFC 4648, section 10.
TEST(Markup, BytesAreBase64) {
  const std::pair<const char*, const char*> known[] = {{"", ""},
                                                       {"f", "Zg=="},
                                                       {"fo", "Zm8="},
                                                       {"foo", "Zm9v"},
                                                       {"foob", "Zm9vYg=="},
                                                       {"fooba", "Zm9vYmE="},
                                                       {"foobar", "Zm9vYmFy"}};
  for (const auto& [bytes, text] : known) EXPECT_EQ(base64(bytes), text) << bytes;
  EXPECT_EQ(base64(std::string_view("\xff\xfe\x00", 3)), "//4A");
}

TEST(Markup, WhatHasAMeaningIsEscaped) {
  EXPECT_EQ(escaped("tram & <b a=\"1\">"), "tram &amp; &lt;b a=&quot;1&quot;&gt;");
  EXPECT_EQ(escaped("M\xc3\xb6we's"), "M\xc3\xb6we's");
}

}  // namespace pw::markup_test
