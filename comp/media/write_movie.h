// Frames into one movie. Its file appears whole or not at all, and the same frames make the same bytes.
//
// prores-hq: 4:2:2 of 10 bits, for an editor. prores-4444: 4:4:4 of 10 bits with straight alpha. ffv1: R'G'B' without
// loss, for an archive; every frame a key frame with checksums (RFC 9043, version 3). h264: 4:2:0 of 8 bits with its
// index in front, which browsers play.
#pragma once
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/picture.h"
#include "base/problem.h"
#include "comp/colour/encoding.h"
#include "comp/media/rate.h"
#include "comp/media/still.h"

namespace pw {

enum class Coder { prores_hq, prores_4444, ffv1, h264 };
std::string_view name(Coder c);  // "prores-hq", "prores-4444", "ffv1", "h264".

// By the file's ending, in any case: .mov prores-hq, .mkv ffv1, .mp4 h264; nothing for other endings.
std::optional<Coder> usual_coder(std::string_view path);

struct MovieWriteOptions {
  std::optional<Coder> coder;        // None: the usual one.
  std::optional<Encoding> encoding;  // None: rec709-camera.
  std::optional<Depth> depth;        // Of ffv1: 8, 10 (usual) or 16 bits.
  int rate_factor = 18;              // Of h264, 1 to 51: smaller is better and larger.
  int width = 0, height = 0;         // Of the canvas, pixels.
  int frames = 0;                    // How many there will be.
  Ratio rate{24, 1};
  std::string timecode;    // Of the first frame; empty: none.
  std::string sound_from;  // A movie whose sound is copied as it is; empty: no sound.
  double sound_start = 0;  // Seconds into that movie at which the first frame stands.
  std::string comment;     // Stored in the file.
  // From light to a colour space's R'G'B'; takes the place of an encoding. The file then says nothing of its curve and
  // primaries.
  std::shared_ptr<const SpaceTransform> space;
};

// The problems MovieWriter::open would meet that can be known before there are pixels: an ending or a combination of
// coder and ending that is not written, a depth it has not, a width or height that is odd where samples are shared.
Result<void> check_movie(const std::string& path, const MovieWriteOptions& options);

// The timecode `frames` frames after another at that rate, dropping frame numbers where a semicolon says so (SMPTE ST
// 12-1); empty when it is none.
std::string later_timecode(const std::string& timecode, Ratio rate, int frames);

class MovieWriter {
 public:
  // Problems name the file: check_movie's, a folder that is missing or closed, sound that the container does not take.
  static Result<std::unique_ptr<MovieWriter>> open(const std::string& path, const MovieWriteOptions& options);
  ~MovieWriter();  // A movie that was not finished leaves nothing behind.

  // Frame 0 <= n < frames, each once, in any order and from any thread; frames that come early wait for those before
  // them. The value holds warnings. Problems: no room, and what else keeps a file from being written; after the first
  // one nothing further is taken.
  Result<Problems> add(int n, const Picture& picture);
  // Puts the file in its place. Every frame must have been added.
  Result<void> finish();

 private:
  struct Inside;
  explicit MovieWriter(std::unique_ptr<Inside> inside);
  std::unique_ptr<Inside> inside_;
};

}  // namespace pw
