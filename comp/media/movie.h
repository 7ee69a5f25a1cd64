// A movie: any frame of it, exactly, at any time.
//
// Opening looks at every packet once (movie_index.h) and decodes the first frame. A frame is found by its number alone:
// asked for in order it costs one decoding, asked for at random the decoding from the last key frame before it, and
// both give the same bytes. Frames decoded on the way are kept for a while, so that neighbours cost one pass in any
// order.
#pragma once
#include <memory>

#include "base/picture.h"
#include "base/problem.h"
#include "comp/colour/encoding.h"
#include "comp/media/rate.h"
#include "comp/media/yuv.h"

namespace pw {

class SpaceTransform;

// What a person says against the file's tags.
struct MovieOptions {
  std::optional<Encoding> encoding;
  std::optional<Matrix> matrix;
  std::optional<Range> range;
  std::optional<Siting> siting;
  // From a colour space's R'G'B' to light; takes the place of an encoding and of what the file says of its primaries.
  // Grey is then read as three channels.
  std::shared_ptr<const SpaceTransform> space;
};

// A fact, and why it is taken for one: "as asked", "as the file says", "usual for ...".
template <class T>
struct Known {
  T value;
  std::string from;
};

struct MovieInfo {
  std::string container, codec;  // As FFmpeg's libraries call them in full.
  int width = 0, height = 0;     // Upright, pixels.
  int orientation = 1;           // As in TIFF 6.0: how the frames lie in the file.
  int bits = 0;                  // Of a component.
  std::string sampling;          // "4:2:0", "4:2:2", "4:4:4", "RGB", "grey"; with " + alpha".
  int channels = 3;              // Of a picture.
  int frames = 0;
  double bits_per_pixel = 0;  // Of its picture for one pixel of one frame, on average.
  Timing timing;
  double seconds = 0;  // From the first frame to the end of the last.
  Known<Matrix> matrix;
  Known<Range> range;
  Known<Siting> siting;
  Known<Encoding> encoding;
  std::string primaries;           // "bt709", ...; empty: the file does not say.
  bool rec2020 = false;            // They are those of BT.2020, which reading turns into Rec.709.
  std::string timecode;            // Of the first frame; empty: none.
  std::vector<std::string> sound;  // One text a stream: "aac, 48000 Hz, 2 channels".
  Problems warnings;               // Guesses a person should know of.
};

class Movie {
 public:
  // Problems name the file: not there, cut off, no movie, only sound, not decodable; interlaced, pulled down, pixels
  // that are not square, turned by other than quarters; formats and matrices not handled.
  static Result<std::shared_ptr<const Movie>> open(const std::string& path, const MovieOptions& options = {});
  ~Movie();

  const std::string& path() const;
  const MovieInfo& info() const;
  // Frame 0 <= n < info().frames, in scene-linear light of Rec.709's primaries. Thread safe. Problems name the file;
  // Problem::frame is left empty: damaged, interlaced, or of another size or kind than the first.
  Result<Picture> read(int n) const;
  // The frame on show `seconds` after the first one began.
  int frame_at(double seconds) const;

 private:
  struct Inside;
  explicit Movie(std::unique_ptr<Inside> inside);
  std::unique_ptr<Inside> inside_;
};

// The comment a movie's file carries; empty when there is none, or no movie.
std::string movie_comment(const std::string& path);

}  // namespace pw
