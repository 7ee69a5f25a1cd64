#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "base/pool.h"
#include "comp/colour/space_transform.h"
#include "comp/media/codec.h"
#include "comp/media/half_float.h"
#include "comp/media/still.h"
#include "comp/media/stored_row.h"
#include "comp/media/structure.h"

namespace pw {
namespace {

// What a format can hold; the first depth and compression are the usual ones.
struct Abilities {
  std::vector<Depth> depths;
  std::vector<std::string> compressions;
  Encoding encoding;
  std::vector<int> channels;
};

const Abilities& abilities(FileType t) {
  static const Abilities exr{{Depth::half, Depth::float32},
                             {"zip", "none", "rle", "zips", "piz", "pxr24", "b44", "b44a", "dwaa", "dwab"},
                             Encoding::linear,
                             {1, 2, 3, 4}};
  static const Abilities tiff{
      {Depth::bits16, Depth::bits8, Depth::float32}, {"lzw", "none", "zip"}, Encoding::srgb, {1, 3, 4}};
  static const Abilities png{{Depth::bits8, Depth::bits16}, {"zip"}, Encoding::srgb, {1, 3, 4}};
  static const Abilities dpx{
      {Depth::bits10, Depth::bits16, Depth::bits8}, {"none"}, Encoding::rec709_camera, {1, 3, 4}};
  static const Abilities jpeg{{Depth::bits8}, {"jpeg"}, Encoding::srgb, {1, 3, 4}};
  switch (t) {
    case FileType::exr:
      return exr;
    case FileType::tiff:
      return tiff;
    case FileType::png:
      return png;
    case FileType::dpx:
      return dpx;
    default:
      return jpeg;
  }
}

// Everything decided about a file that is to be written.
struct Plan {
  FileType type = FileType::unknown;
  Depth depth = Depth::half;
  Encoding encoding = Encoding::linear;
  std::string compression;
};

tl::unexpected<Problems> fail_for(const std::string& path, std::string what, std::string remedy) {
  return fail({.what = std::move(what), .remedy = std::move(remedy), .file = path});
}

size_t edits(std::string_view a, std::string_view b) {  // Levenshtein 1966.
  std::vector<size_t> row(b.size() + 1);
  for (size_t j = 0; j <= b.size(); ++j) row[j] = j;
  for (size_t i = 1; i <= a.size(); ++i) {
    size_t corner = row[0];
    row[0] = i;
    for (size_t j = 1; j <= b.size(); ++j) {
      const size_t replaced = corner + (a[i - 1] != b[j - 1]);
      corner = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, replaced});
    }
  }
  return row.back();
}

tl::unexpected<Problems> unknown_extension(const std::string& path) {
  const size_t slash = path.rfind('/'), dot = path.rfind('.');
  if (dot == std::string::npos || (slash != std::string::npos && dot < slash))
    return fail_for(path, "the file has no extension to say what to write",
                    fmt::format("end it with {}", fmt::join(still_extensions(), ", ")));
  const std::string given = path.substr(dot);
  std::vector<std::string> known = still_extensions();
  std::stable_sort(known.begin(), known.end(),
                   [&](const auto& a, const auto& b) { return edits(given, a) < edits(given, b); });
  return fail_for(path, fmt::format("{} is not a kind of picture that is written", given),
                  fmt::format("use {}; there are also {}", known[0], fmt::join(known.begin() + 1, known.end(), ", ")));
}

Result<Plan> plan(const std::string& path, int channels, const WriteOptions& o) {
  const auto type = type_of_extension(path);
  if (!type) return unknown_extension(path);
  const Abilities& can = abilities(*type);
  const bool ten_bits = *type == FileType::dpx && channels == 3;
  if (o.space && channels < 3)
    return fail_for(path, "a field of two channels is no colour", "name an encoding instead of a colour space");
  Plan p{*type, o.depth.value_or(*type == FileType::dpx && !ten_bits ? Depth::bits16 : can.depths[0]),
         o.encoding.value_or(can.encoding), o.compression.empty() ? can.compressions[0] : o.compression};
  if (o.space || (p.depth == Depth::float32 && !o.encoding)) p.encoding = Encoding::linear;
  if (std::find(can.depths.begin(), can.depths.end(), p.depth) == can.depths.end()) {
    std::vector<std::string_view> names;
    for (Depth d : can.depths) names.push_back(name(d));
    return fail_for(path, fmt::format("{} has no depth \"{}\"", name(*type), name(p.depth)),
                    fmt::format("choose {}", fmt::join(names, ", ")));
  }
  if (std::find(can.compressions.begin(), can.compressions.end(), p.compression) == can.compressions.end())
    return fail_for(path, fmt::format("{} has no compression \"{}\"", name(*type), p.compression),
                    fmt::format("choose {}", fmt::join(can.compressions, ", ")));
  if (std::find(can.channels.begin(), can.channels.end(), channels) == can.channels.end())
    return fail_for(path, fmt::format("{} does not take a field of {} channels", name(*type), channels), "use .exr");
  // OpenImageIO loses the last sample of some rows of 10-bit RGBA, and packs one channel otherwise than it says.
  if (p.depth == Depth::bits10 && !ten_bits)
    return fail_for(path, fmt::format("10-bit DPX is written with 3 channels, not {}", channels), "use depth 16");
  if (o.quality < 1 || o.quality > 100)
    return fail_for(path, fmt::format("quality is {}", o.quality), "it goes from 1 to 100");
  return p;
}

OIIO::TypeDesc stored_type(Depth d) {
  switch (d) {
    case Depth::bits8:
      return OIIO::TypeDesc::UINT8;
    case Depth::bits10:
    case Depth::bits16:
      return OIIO::TypeDesc::UINT16;
    case Depth::half:
      return OIIO::TypeDesc::HALF;
    case Depth::float32:
      break;
  }
  return OIIO::TypeDesc::FLOAT;
}

OIIO::ImageSpec make_spec(const Plan& p, const WriteOptions& o, const Rect& canvas, const Rect& stored, int channels) {
  OIIO::ImageSpec s(stored.width(), stored.height(), channels, stored_type(p.depth));
  s.x = stored.x0 - canvas.x0;
  s.y = stored.y0 - canvas.y0;
  s.full_width = canvas.width();
  s.full_height = canvas.height();
  if (channels == 1) s.channelnames = {"Y"};
  if (channels == 2) s.channelnames = {"U", "V"};
  s.alpha_channel = channels == 4 ? 3 : -1;
  s.attribute("Software", "Platewright");
  s.attribute("DateTime", "");  // The time of writing would make every file different.
  s.attribute("oiio:UnassociatedAlpha", p.type == FileType::exr ? 0 : 1);
  if (p.type == FileType::exr || p.type == FileType::tiff) s.attribute("compression", p.compression);
  // Elsewhere the library drops what is named after another format, but only once it has met that format.
  if (p.type == FileType::tiff) s.attribute("tiff:write_exif", 0);
  if (p.type == FileType::jpeg) {
    s.attribute("compression", fmt::format("jpeg:{}", o.quality));
    s.attribute("jpeg:subsampling", "4:4:4");
  }
  if (p.type == FileType::png) {
    // Level 6, the library's own choice, takes three times as long for a twentieth less.
    s.attribute("png:compressionLevel", 2);
    if (p.encoding == Encoding::srgb) s.attribute("oiio:ColorSpace", "sRGB");
    if (p.encoding == Encoding::linear && !o.space) s.attribute("oiio:ColorSpace", "Linear");
    if (p.encoding == Encoding::bt1886) s.attribute("oiio:ColorSpace", "GammaCorrected2.4");
  }
  if (p.type == FileType::dpx) {
    if (p.depth == Depth::bits10) s.attribute("oiio:BitsPerSample", 10);
    if (p.encoding == Encoding::rec709_camera) s.attribute("dpx:Transfer", "ITU-R 709-4");
    if (p.encoding == Encoding::linear && !o.space) s.attribute("dpx:Transfer", "Linear");
  }
  if (p.type == FileType::exr || p.type == FileType::png) {
    for (const auto& [key, text] : o.texts) s.attribute(key, text);
  } else if (!o.texts.empty()) {
    std::string all;
    for (const auto& [key, text] : o.texts) all += fmt::format("{}{}={}", all.empty() ? "" : "; ", key, text);
    s.attribute(p.type == FileType::dpx ? "DocumentName" : "ImageDescription", all);
  }
  return s;
}

StoredRow stored_row(const Plan& p, int channels) {
  StoredRow how;
  how.encoding = p.encoding;
  how.channels = channels;
  if (channels == 4) how.alpha = p.type == FileType::exr ? StoredRow::Alpha::associated : StoredRow::Alpha::straight;
  switch (p.depth) {
    case Depth::bits8:
      break;
    case Depth::bits10:
    case Depth::bits16:
      how.component = StoredRow::Component::uint16;
      how.bits = p.depth == Depth::bits10 ? 10 : 16;
      break;
    case Depth::half:
      how.component = StoredRow::Component::half;
      break;
    case Depth::float32:
      how.component = StoredRow::Component::float32;
      break;
  }
  return how;
}

// Of the file, before JPEG drops alpha.
int channels_of(const Picture& p, const WriteOptions& o) { return o.space && p.channels() == 1 ? 3 : p.channels(); }

// Row `y` of the picture over `window`, with as many channels as are stored; clear outside the picture.
void gather(const Picture& p, const Rect& window, int y, int channels, float* out) {
  std::fill_n(out, static_cast<size_t>(window.width()) * channels, 0.f);
  const Rect inside = intersect(window, p.window());
  if (y < inside.y0 || y >= inside.y1) return;
  out += static_cast<int64_t>(inside.x0 - window.x0) * channels;
  const float* in = p.at(inside.x0, y);
  if (channels == p.channels()) {
    std::copy_n(in, static_cast<size_t>(inside.width()) * channels, out);
    return;
  }
  for (int x = 0; x < inside.width(); ++x, in += p.channels(), out += channels)
    for (int c = 0; c < channels; ++c) out[c] = in[std::min(c, p.channels() - 1)];
}

// Light that is no finite number is 0, as encode_row has it.
void to_space(const SpaceTransform& space, std::vector<float>& row, int channels, OddValues& odd) {
  for (float& v : row)
    if (!std::isfinite(v)) v = 0, ++odd.not_finite;
  odd.not_finite += transform_premultiplied(space, row.data(), row.size() / channels, channels);
}

Problem warning(const std::string& path, std::string what, std::string remedy) {
  return {.what = std::move(what), .remedy = std::move(remedy), .file = path, .severity = Severity::warning};
}

Result<StillBytes> encode_still(const std::string& path, const Picture& picture, const WriteOptions& options,
                                const Plan& planned) {
  const Rect canvas =
      options.width > 0 && options.height > 0 ? Rect::sized(options.width, options.height) : picture.window();
  Rect stored = planned.type == FileType::exr ? picture.window() : canvas;
  if (stored.empty()) stored = {canvas.x0, canvas.y0, canvas.x0 + 1, canvas.y0 + 1};  // No format holds no pixels.
  for (const Rect& r : {canvas, stored})
    if (auto p = size_problem(r.width(), r.height())) return fail_for(path, p->what, p->remedy);
  const int channels =
      planned.type == FileType::jpeg ? std::min(channels_of(picture, options), 3) : channels_of(picture, options);

  const OIIO::ImageSpec spec = make_spec(planned, options, canvas, stored, channels);
  const size_t row_bytes = spec.scanline_bytes(true);
  const auto native = take_buffer((row_bytes * stored.height() + sizeof(float) - 1) / sizeof(float));
  auto* bytes = reinterpret_cast<unsigned char*>(native.get());
  std::vector<float> row(static_cast<size_t>(stored.width()) * channels);
  const StoredRow how = stored_row(planned, channels);
  OddValues odd;
  for (int y = stored.y0; y < stored.y1; ++y) {
    gather(picture, stored, y, channels, row.data());
    if (options.space) to_space(*options.space, row, channels, odd);
    encode_row(how, row.data(), stored.width(), bytes + row_bytes * (y - stored.y0), odd);
  }

  StillBytes still;
  still.bytes.reserve(row_bytes * stored.height() / 2 + 65536);
  OIIO::Filesystem::IOVecOutput sink(still.bytes);
  const auto output = codec::writer(planned.type);
  const std::string file_name = path.substr(path.rfind('/') + 1);  // DPX keeps it, and the folder is nobody's concern.
  if (!output || !output->set_ioproxy(&sink) || !output->open(file_name, spec) ||
      !output->write_image(spec.format, bytes) || !output->close())
    return fail_for(
        path,
        fmt::format("the picture cannot be written ({})", output ? codec::first_line(output->geterror()) : "no writer"),
        "");

  if (odd.not_finite > 0)
    still.warnings.push_back(warning(
        path, fmt::format("{} values are not finite numbers; 0 is written", odd.not_finite), "look at what made them"));
  if (odd.too_large > 0)
    still.warnings.push_back(warning(
        path,
        fmt::format("{} values are beyond {}, the most a half float holds, and are clamped", odd.too_large, kMostHalf),
        "use depth float"));
  return still;
}

}  // namespace

std::string_view name(Depth d) {
  switch (d) {
    case Depth::bits8:
      return "8";
    case Depth::bits10:
      return "10";
    case Depth::bits16:
      return "16";
    case Depth::half:
      return "half";
    case Depth::float32:
      break;
  }
  return "float";
}

std::optional<Depth> depth(std::string_view wanted) {
  for (Depth d : {Depth::bits8, Depth::bits10, Depth::bits16, Depth::half, Depth::float32})
    if (name(d) == wanted) return d;
  return {};
}

Result<void> check_format(const std::string& path, int channels, const WriteOptions& options) {
  if (auto p = plan(path, channels, options); !p) return fail(std::move(p.error()));
  return {};
}

Result<StillBytes> still_bytes(const std::string& path, const Picture& picture, const WriteOptions& options) {
  const auto planned = plan(path, channels_of(picture, options), options);
  if (!planned) return fail(planned.error());
  try {
    return encode_still(path, picture, options, *planned);
  } catch (const std::bad_alloc&) {
    return fail_for(path, "there is not enough memory to write the picture", "write a smaller one");
  } catch (const std::exception& e) {
    return fail_for(path, fmt::format("the picture cannot be written ({})", codec::first_line(e.what())), "");
  }
}

Result<Problems> write_still(const std::string& path, const Picture& picture, const WriteOptions& options) {
  const auto still = still_bytes(path, picture, options);
  if (!still) return fail(still.error());
  if (auto r = write_whole_file(path, still->bytes); !r) return fail(std::move(r.error()));
  return still->warnings;
}

}  // namespace pw
