#include <filesystem>

#include "comp/kinds/encoding_choice.h"
#include "comp/media/sequence.h"
#include "comp/media/signature.h"
#include "comp/spec/declare.h"

namespace pw {
namespace {

enum class DepthChoice { usual, bits8, bits10, bits16, half, float32 };
struct Deliver {
  std::string file;
  EncodingChoice encoding = EncodingChoice::tagged;
  DepthChoice depth = DepthChoice::usual;
  std::string compression;
  int64_t quality = 95;
};

WriteOptions options(const Deliver& p) {
  WriteOptions o;
  o.encoding = chosen(p.encoding);
  constexpr Depth depths[] = {Depth::bits8, Depth::bits8, Depth::bits10, Depth::bits16, Depth::half, Depth::float32};
  if (p.depth != DepthChoice::usual) o.depth = depths[static_cast<size_t>(p.depth)];
  o.compression = p.compression;
  o.quality = static_cast<int>(p.quality);
  return o;
}

std::string target(const Deliver& p, const Shot& shot, int frame) {
  const std::string path = shot.path(p.file);
  if (!looks_like_pattern(path)) return path;
  const auto pattern = parse_pattern(path);
  return pattern ? pattern->file(frame) : path;
}

constexpr const char* kOrigin = "PlatewrightOrigin";

std::string origin(const Deliver& p, const Shot& shot, int frame) {
  const std::string file = target(p, shot, frame);
  const auto info = inspect_still(file);
  return info && type_of_extension(file) == info->type ? text_in(*info, kOrigin) : "";
}

Result<Problems> deliver(const Deliver& p, const Delivering& d) {
  WriteOptions o = options(p);
  o.width = d.shot.canvas().width(), o.height = d.shot.canvas().height();
  o.texts = {{kOrigin, d.origin}, {"PlatewrightTarget", d.target}};
  return write_still(target(p, d.shot, d.frame), d.picture, o);
}

// What can be known of the files before there are pixels; the folder is made when the first one is written.
std::optional<Complaint> writable(const Deliver& p, const Shot& shot) {
  if (looks_like_pattern(p.file)) {
    if (const auto pattern = parse_pattern(p.file); !pattern)
      return Complaint{"file", "is no pattern: " + pattern.error()[0].what, pattern.error()[0].remedy};
  } else if (shot.first != shot.last) {
    return Complaint{"file", "has no place for the frame's number",
                     "write one hash for each digit, as in \"out/quay.####.png\""};
  }
  const std::string name = std::filesystem::path(target(p, shot, shot.first)).filename().string();
  if (const auto ok = check_format(name, 3, options(p)); !ok)
    return Complaint{"file", "cannot be written: " + ok.error()[0].what, ok.error()[0].remedy};
  return std::nullopt;
}

}  // namespace

Kind deliver_kind() {
  return Declare<Deliver>("deliver", Family::sink, 1,
                          "Writes the frames: EXR, PNG, TIFF, DPX or JPEG by the file's ending.")
      .also({"output", "export"})
      .input({"image", Flow::picture, "What is written."})
      .param("file", &Deliver::file,
             {.doc = "The files, one hash for each digit of the frame's number.",
              .role = Role::file_out,
              .required = true,
              .changes_pixels = false,
              .example = "\"out/quay.####.png\""})
      .param("encoding", &Deliver::encoding,
             {.doc = "What the code values mean; tagged: what is usual for the format (linear for EXR, rec709-camera "
                     "for DPX, else srgb).",
              .choices = kEncodingChoices})
      .param("depth", &Deliver::depth,
             {.doc = "How a component is stored; usual: half for EXR, 16 for TIFF, 10 for DPX, 8 for PNG and JPEG.",
              .choices = {"usual", "8", "10", "16", "half", "float"}})
      .param("compression", &Deliver::compression,
             {.doc = "EXR: none, rle, zips, zip, piz, pxr24, b44, b44a, dwaa, dwab; TIFF: none, lzw, zip; empty: zip."})
      .param("quality", &Deliver::quality, {.doc = "Of JPEG.", .min = 1, .max = 100})
      .fits_shot(writable)
      .target(target)
      .origin(origin)
      .deliver(deliver);
}

}  // namespace pw
