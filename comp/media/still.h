// One picture file in or out: EXR, PNG, TIFF, DPX, JPEG. In memory it is linear float with alpha premultiplied; in the
// file it has an encoding, a depth, and alpha as the format has it.
#pragma once
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/picture.h"
#include "base/problem.h"
#include "comp/colour/encoding.h"
#include "comp/media/signature.h"

namespace pw {

class SpaceTransform;

// How a component is stored.
enum class Depth { bits8, bits10, bits16, half, float32 };
std::string_view name(Depth d);  // "8", "10", "16", "half", "float".
std::optional<Depth> depth(std::string_view name);

struct StillInfo {
  FileType type = FileType::unknown;
  int width = 0, height = 0;               // Of the canvas: the display window, pixels.
  Rect data_window;                        // Where there are pixels, in canvas pixels; may reach outside the canvas.
  int channels = 0;                        // Of the picture read_still gives: 1 to 4.
  std::vector<std::string> channel_names;  // All of the file's.
  int bits = 0;                            // Of a component in the file.
  bool is_float = false;
  std::string compression;               // As the format calls it; empty when it has none or only one.
  Encoding encoding = Encoding::linear;  // Used to read it,
  std::string_view encoding_from;        // and why: "as asked", "tagged", "usual for PNG", ...
  std::vector<std::pair<std::string, std::string>> texts;  // What the file says in words, by name.
  Problems warnings;                                       // What it says of its colours that is not heeded.
};

struct ReadOptions {
  std::optional<Encoding> encoding;  // Overrides what the file says of itself.
  // From a colour space's values to light; takes the place of an encoding. Grey is then read as three channels.
  std::shared_ptr<const SpaceTransform> space;
};

// What the file says under that name, whatever its format; empty when it says nothing.
std::string text_in(const StillInfo& info, std::string_view name);

struct StillFile {
  Picture picture;
  StillInfo info;
  Problems warnings;  // Of its pixels.
};

// Reads a still. Where the file says nothing EXR and float TIFF are linear, DPX is rec709-camera, the rest srgb.
// Alpha of PNG, TIFF (unless it says otherwise) and DPX is straight and is multiplied in here, in linear light; EXR is
// premultiplied, and its colour under zero alpha survives. Grey stays one channel; grey with alpha becomes 4. Of more
// channels than a picture has R, G, B, A are taken, or Y. A turned photograph is set upright. Values that are not
// finite are made so (0, or +-65504) with a warning.
// Problems name the file: not there, empty, cut off, damaged, too large, a movie, no picture at all, non-square pixels,
// deep data.
Result<StillFile> read_still(const std::string& path, const ReadOptions& options = {});

// The same without the pixels.
Result<StillInfo> inspect_still(const std::string& path, const ReadOptions& options = {});

struct WriteOptions {
  std::optional<Encoding> encoding;  // None: linear for EXR and float TIFF, rec709-camera for DPX, else srgb.
  std::optional<Depth>
      depth;                  // None: half for EXR, 16 for TIFF, 10 for DPX of 3 channels, else 16; 8 for PNG and JPEG.
  std::string compression;    // EXR none rle zips zip (usual) piz pxr24 b44 b44a dwaa dwab; TIFF none lzw (usual) zip.
  int quality = 95;           // Of JPEG, 1 to 100.
  int width = 0, height = 0;  // Of the canvas; 0: the picture's own window is the canvas.
  // Stored with the picture: name, text. TIFF and JPEG hold them in their description, as "name=text; name=text", DPX
  // in the name of its project, which has room for 199 bytes.
  std::vector<std::pair<std::string, std::string>> texts;
  // From light to a colour space's values; takes the place of an encoding. Grey is then written as three channels.
  std::shared_ptr<const SpaceTransform> space;
};

// The problems write_still would meet that can be known from the name alone: an extension nobody writes, a depth,
// compression or channel count the format has not.
Result<void> check_format(const std::string& path, int channels, const WriteOptions& options);

// What a file holds, and warnings: numbers that were not finite (0 is written), numbers beyond what a half float holds.
struct StillBytes {
  std::vector<unsigned char> bytes;
  Problems warnings;
};

// The bytes of a still, the same for the same input; `path` says the format by its ending, and is what problems name.
// EXR keeps the picture's window; the others hold the canvas, clear where there are no pixels. Code values are rounded
// to the nearest, without dither, and clamped. PNG, TIFF and 16-bit DPX take alpha and store it straight; JPEG drops it
// (the picture over black).
Result<StillBytes> still_bytes(const std::string& path, const Picture& picture, const WriteOptions& options = {});

// Writes them, whole or not at all. The value holds the warnings.
Result<Problems> write_still(const std::string& path, const Picture& picture, const WriteOptions& options = {});

}  // namespace pw
