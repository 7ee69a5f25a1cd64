#include "comp/media/movie_structure.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <string>
#include <vector>

namespace pw::movie_structure_test {

using namespace std::string_literals;

std::string says(const std::string& bytes) {
  const auto p = movie_structure_problem(static_cast<int64_t>(bytes.size()),
                                         [&](int64_t at, unsigned char* to, size_t count) -> size_t {
                                           if (at >= static_cast<int64_t>(bytes.size())) return 0;
                                           const size_t n = std::min(count, bytes.size() - static_cast<size_t>(at));
                                           std::copy_n(bytes.begin() + at, n, to);
                                           return n;
                                         });
  return p ? p->what : "";
}

const std::string kMp4 =
    "\0\0\0\x0c"
    "ftypisom\0\0\0\x0a"
    "moov12\0\0\0\x01mdat\0\0\0\0\0\0\0\x14"
    "1234"s;
const std::string kMkv =
    "\x1a\x45\xdf\xa3\x82zz\x18\x53\x80\x67\x01\0\0\0\0\0\0\x04"
    "1234"s;
const std::string kAvi = "RIFF\x08\0\0\0AVI 1234RIFF\x06\0\0\0AVIX12"s;

TEST(MovieStructure, WholeMoviesAreFine) {
  for (const std::string& movie : {kMp4, kMkv, kAvi}) EXPECT_EQ(says(movie), "");
  EXPECT_EQ(says(kMp4.substr(0, 22) + "\0\0\0\0mdat12"s), "");  // To the end of the file.
  EXPECT_EQ(says(kMkv.substr(0, 11) + "\x01\xff\xff\xff\xff\xff\xff\xff"
                                      "12"s),
            "");  // A live recording.
  EXPECT_EQ(says("OggS something else"), "");
}

TEST(MovieStructure, EveryLengthThatIsTooShortIsFound) {
  for (const std::string& movie : {kMp4, kMkv})
    for (size_t n = 0; n < movie.size(); ++n) {
      // What ends after a whole box ends well when the index is there.
      const bool well = movie == kMp4 && n >= 22 && n < 30;
      EXPECT_EQ(says(movie.substr(0, n)), well ? "" : "the file is cut off") << n;
    }
  EXPECT_EQ(says(kAvi.substr(0, kAvi.size() - 1)), "the file is cut off");
  EXPECT_EQ(says(kAvi.substr(0, 12)), "the file is cut off");
  EXPECT_EQ(says("\0\0\0\x08"
                 "ftyp\0\0\0\x08mdat"s),
            "the file is cut off");  // No index: it was to come at the end.
}

TEST(MovieStructure, AnyBytesAreAnswered) {
  std::mt19937 g(3);
  for (int i = 0; i < 20000; ++i) {
    std::string s = i % 3 == 0 ? kMp4 : i % 3 == 1 ? kMkv : kAvi;
    for (int k = 0; k < 3; ++k) s[g() % s.size()] = static_cast<char>(g());
    (void)says(s);
  }
}

}  // namespace pw::movie_structure_test
