#include "comp/media/signature.h"

#include <gtest/gtest.h>

#include "samples.h"

namespace pw::signature_test {

Signature of(const std::string& bytes) {
  return recognise({reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size()});
}

TEST(Signature, TellsMoviesAndPicturesByTheirFirstBytes) {
  using namespace std::string_literals;
  EXPECT_EQ(of("\0\0\0\x20"
               "ftypisom"s)
                .what,
            "an MP4 or QuickTime movie");
  EXPECT_EQ(of("\0\0\0\x14"
               "ftypqt  "s)
                .type,
            FileType::movie);
  EXPECT_EQ(of("\0\0\0\x08wide\0\0"s).type, FileType::movie);
  EXPECT_EQ(of("\0\0\0\x18"
               "ftypheic"s)
                .what,
            "a HEIF picture");
  EXPECT_EQ(of("\x1a\x45\xdf\xa3matroska"s).what, "a Matroska or WebM movie");
  EXPECT_EQ(of("RIFF\1\2\3\4AVI LIST"s).what, "an AVI movie");
  EXPECT_EQ(of("RIFF\1\2\3\4WEBPVP8 "s).what, "a WebP picture");
  EXPECT_EQ(of("\x06\x0e\x2b\x34\x02\x05"s).what, "an MXF movie");
  EXPECT_EQ(of("GIF89a"s).type, FileType::other_picture);
  EXPECT_EQ(of("\x76\x2f\x31\x01\2\0\0\0"s).type, FileType::exr);
  EXPECT_EQ(of("MM\0*\0\0\0\10"s).type, FileType::tiff);
  EXPECT_EQ(of("SDPX"s).type, FileType::dpx);
  EXPECT_EQ(of("some words\nand more"s).what, "text");
  EXPECT_EQ(of("\1\2\3\4"s).what, "no known kind of file");
  EXPECT_EQ(of(""s).type, FileType::unknown);
  std::string packets(600, '\0');
  packets[0] = packets[188] = packets[376] = 0x47;
  EXPECT_EQ(of(packets).what, "an MPEG transport stream");
  packets[188] = 0;
  EXPECT_EQ(of(packets).type, FileType::unknown);
}

TEST(Signature, ExtensionsSayWhatToWrite) {
  EXPECT_EQ(type_of_extension("a/b.c/quay.0001.EXR"), FileType::exr);
  EXPECT_EQ(type_of_extension("a.jpeg"), FileType::jpeg);
  EXPECT_EQ(type_of_extension("a.Tif"), FileType::tiff);
  EXPECT_FALSE(type_of_extension("a.gif"));
  EXPECT_FALSE(type_of_extension("a.png/b"));
  for (const std::string& e : still_extensions()) EXPECT_TRUE(is_still(*type_of_extension("a" + e)));
}

}  // namespace pw::signature_test
