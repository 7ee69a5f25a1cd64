#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstring>

#include "base/pool.h"
#include "comp/colour/primaries.h"
#include "comp/colour/space_transform.h"
#include "comp/media/codec.h"
#include "comp/media/half_float.h"
#include "comp/media/orientation.h"
#include "comp/media/still.h"
#include "comp/media/stored_row.h"
#include "comp/media/structure.h"

namespace pw {
namespace {

// Which of the file's channels make the picture, and what they are.
struct Choice {
  std::vector<int> from;     // Channel of the file for each channel that is decoded.
  bool has_alpha = false;    // The last of them is alpha.
  bool three_greys = false;  // Grey becomes red, green and blue.
  bool grey() const { return static_cast<int>(from.size()) == (has_alpha ? 2 : 1); }
  int channels() const { return three_greys ? (has_alpha ? 4 : 3) : static_cast<int>(from.size()); }
};

// A file that has been looked at and can be decoded.
struct Opened {
  FileBytes file;
  std::unique_ptr<codec::Source> source;  // Reads from `file`.
  std::unique_ptr<OIIO::ImageInput> input;
  OIIO::ImageSpec spec;
  Choice choice;
  int orientation = 1;
  bool straight_alpha = false;
  StillInfo info;
  Problems warnings;
};

tl::unexpected<Problems> fail_for(const std::string& path, Problem p) {
  p.file = path;
  return fail(std::move(p));
}

Problem not_a_still(const Signature& s) {
  if (s.type == FileType::movie)
    return {.what = fmt::format("this is {}", s.what),
            .remedy = "footage takes movies; take a still from one with image = \"NODE\" and frames"};
  if (s.type == FileType::other_picture)
    return {.what = fmt::format("this is {}", s.what), .remedy = "convert it to EXR, PNG, TIFF, DPX or JPEG"};
  return {.what = s.what == "no known kind of file" ? "this is no kind of file that is known"
                                                    : fmt::format("this is no picture but {}", s.what),
          .remedy = "name an EXR, PNG, TIFF, DPX or JPEG file"};
}

int channel_named(const OIIO::ImageSpec& spec, const std::string& name) {
  const auto it = std::find(spec.channelnames.begin(), spec.channelnames.end(), name);
  return it == spec.channelnames.end() ? -1 : static_cast<int>(it - spec.channelnames.begin());
}

// R, G, B with or without A, at the top or in the first layer that has them; else Y; else all when they are few.
std::optional<Choice> choose(const OIIO::ImageSpec& spec) {
  std::vector<std::string> layers = {""};
  for (const std::string& n : spec.channelnames)
    if (n.ends_with(".R") || n.ends_with(".Y")) layers.push_back(n.substr(0, n.size() - 1));
  for (const std::string& layer : layers) {
    const int r = channel_named(spec, layer + "R"), g = channel_named(spec, layer + "G");
    const int b = channel_named(spec, layer + "B"), y = channel_named(spec, layer + "Y");
    const int a = channel_named(spec, layer + "A");
    Choice c;
    if (r >= 0 && g >= 0 && b >= 0)
      c.from = {r, g, b};
    else if (y >= 0 && channel_named(spec, layer + "X") < 0)  // X and Y are a position or a normal.
      c.from = {y};
    else
      continue;
    c.has_alpha = a >= 0;
    if (c.has_alpha) c.from.push_back(a);
    return c;
  }
  if (spec.nchannels > 4) return {};
  Choice c;
  for (int i = 0; i < spec.nchannels; ++i) c.from.push_back(i);
  c.has_alpha = spec.nchannels > 1 && spec.nchannels != 3 && spec.alpha_channel == spec.nchannels - 1;
  return c;
}

struct Tag {
  std::optional<Encoding> encoding;
  bool is_log = false;
};

// What the file says of its encoding.
Tag tagged_encoding(const OIIO::ImageSpec& spec, FileType t) {
  if (t == FileType::dpx) {
    const std::string transfer(spec.get_string_attribute("dpx:Transfer"));
    if (transfer == "Printing density" || transfer == "Logarithmic") return {.is_log = true};
    if (transfer == "Linear") return {Encoding::linear};
    if (transfer.starts_with("ITU-R") || transfer.starts_with("SMPTE")) return {Encoding::rec709_camera};
    return {};
  }
  if (t != FileType::png) return {};
  const std::string space(spec.get_string_attribute("oiio:ColorSpace"));
  const float gamma = spec.get_float_attribute("oiio:Gamma", 0);
  if (space == "Linear" || std::abs(gamma - 1) < 0.01f) return {Encoding::linear};
  if (std::abs(gamma - 2.4f) < 0.01f) return {Encoding::bt1886};
  return {};
}

// What the file says of its colours that is not heeded.
void warn_of_colours(const std::string& path, const OIIO::ImageSpec& spec, const ReadOptions& options,
                     StillInfo& info) {
  const auto warn = [&](std::string what, std::string remedy) {
    info.warnings.push_back(
        {.what = std::move(what), .remedy = std::move(remedy), .file = path, .severity = Severity::warning});
  };
  const std::string profile(spec.get_string_attribute("ICCProfile:profile_description"));
  if (!options.encoding && !profile.empty() && profile.find("sRGB") == std::string::npos)
    warn(fmt::format("the picture carries the colour profile \"{}\", which is not applied", profile),
         "convert it to sRGB if its colours look wrong");
  const auto& [red, green, blue, white] = kRec709;  // An EXR file that says nothing means these.
  const double usual[8] = {red.x(), red.y(), green.x(), green.y(), blue.x(), blue.y(), white.x(), white.y()};
  float said[8];
  if (!spec.getattribute("chromaticities", OIIO::TypeDesc(OIIO::TypeDesc::FLOAT, 8), said)) return;
  if (!std::equal(said, said + 8, usual, [](float a, double b) { return std::abs(a - b) < 0.002; }))
    warn("the picture says that its primaries or its white are others than BT.709's, which is not heeded",
         "convert it to linear BT.709 if its colours look wrong");
}

Result<void> settle_encoding(const std::string& path, const ReadOptions& options, Opened& o) {
  StillInfo& info = o.info;
  const Tag tag = tagged_encoding(o.spec, info.type);
  if (!options.space) warn_of_colours(path, o.spec, options, info);
  if (options.space) {
    info.encoding = Encoding::linear;  // The codes as they are.
    info.encoding_from = "as asked";
    return {};
  }
  if (options.encoding) {
    info.encoding = *options.encoding;
    info.encoding_from = "as asked";
    return {};
  }
  if (tag.is_log)
    return fail_for(path, {.what = "the film densities of this DPX file are logarithmic, which is not handled",
                           .remedy = "convert it to linear EXR, or name an encoding to read it as"});
  if (tag.encoding) {
    info.encoding = *tag.encoding;
    info.encoding_from = "as the file says";
  } else if (info.is_float) {
    info.encoding = Encoding::linear;
    info.encoding_from = "usual for float";
  } else if (info.type == FileType::dpx) {
    info.encoding = Encoding::rec709_camera;
    info.encoding_from = "usual for DPX";
  } else {
    info.encoding = Encoding::srgb;
    info.encoding_from = "usual for this format";
  }
  return {};
}

bool is_wording(const OIIO::ParamValue& a) {
  if (a.type() != OIIO::TypeString) return false;
  const std::string n(a.name().string());
  return n.find(':') == std::string::npos && n != "compression" && n != "planarconfig";
}

Result<void> describe(const std::string& path, FileType type, const ReadOptions& options, Opened& o) {
  const OIIO::ImageSpec& s = o.spec;
  if (s.deep)
    return fail_for(path, {.what = "the picture is deep (several samples a pixel)", .remedy = "flatten it first"});
  if (s.depth > 1) return fail_for(path, {.what = "the file is a volume", .remedy = "name a flat picture"});
  for (const auto& p : {size_problem(s.width, s.height), size_problem(s.full_width, s.full_height)})
    if (p) return fail_for(path, *p);
  const float aspect = s.get_float_attribute("PixelAspectRatio", 1);
  if (std::isfinite(aspect) && aspect > 0 && std::abs(aspect - 1) > 0.002f)
    return fail_for(path, {.what = fmt::format("the pixels are not square (aspect {:.3g})", aspect),
                           .remedy = "resample the picture to square pixels first"});
  const auto choice = choose(s);
  if (!choice)
    return fail_for(path, {.what = fmt::format("the file has {} channels and none named R, G and B, or Y", s.nchannels),
                           .remedy = "write those that are wanted as R, G, B"});
  o.choice = *choice;
  o.choice.three_greys = o.choice.grey() && (o.choice.has_alpha || options.space);
  if (options.space && o.choice.channels() < 3)
    return fail_for(path, {.what = "the file has two channels, which are no colour",
                           .remedy = "name an encoding instead of a colour space"});
  StillInfo& info = o.info;
  info.type = type;
  o.orientation = type == FileType::exr ? 1 : s.get_int_attribute("Orientation", 1);
  const bool turned = lies_on_its_side(o.orientation);
  info.width = turned ? s.full_height : s.full_width;
  info.height = turned ? s.full_width : s.full_height;
  const int x = s.x - s.full_x, y = s.y - s.full_y;
  info.data_window = turned ? Rect::sized(s.height, s.width) : Rect{x, y, x + s.width, y + s.height};
  info.channels = o.choice.channels();
  info.channel_names = s.channelnames;
  info.is_float = s.format.is_floating_point();
  const int stored = static_cast<int>(s.format.size()) * 8;
  info.bits = info.is_float ? stored : std::min(stored, s.get_int_attribute("oiio:BitsPerSample", stored));
  info.compression = s.get_string_attribute("compression");
  for (const auto& a : s.extra_attribs)
    if (is_wording(a)) info.texts.emplace_back(a.name().string(), a.get_string());
  o.straight_alpha = o.choice.has_alpha && (type == FileType::png || type == FileType::dpx ||
                                            s.get_int_attribute("oiio:UnassociatedAlpha", 0) != 0);
  return settle_encoding(path, options, o);
}

Result<Opened> open_still(const std::string& path, const ReadOptions& options) {
  auto file = read_whole_file(path);
  if (!file) return fail(std::move(file.error()));
  const Signature what = recognise(file->bytes());
  if (!is_still(what.type)) return fail_for(path, not_a_still(what));
  if (const auto p = structure_problem(what.type, file->bytes())) return fail_for(path, *p);

  Opened o;
  o.file = *std::move(file);
  o.source = std::make_unique<codec::Source>(o.file.bytes());
  o.input = codec::reader(what.type);
  OIIO::ImageSpec wishes;
  wishes.attribute("oiio:UnassociatedAlpha", 1);  // It would multiply encoded values.
  if (!o.input || !o.input->set_ioproxy(o.source.get()) || !o.input->open(path, o.spec, wishes)) {
    if (o.source->read_past_end()) return fail_for(path, cut_off());
    const std::string why = o.input ? codec::first_line(o.input->geterror()) : "no reader";
    return fail_for(path,
                    {.what = fmt::format("the picture cannot be read ({})", why), .remedy = "copy or render it again"});
  }
  if (auto r = describe(path, what.type, options, o); !r) return fail(std::move(r.error()));
  return o;
}

StoredRow stored_row(const Opened& o, const OIIO::TypeDesc& type) {
  StoredRow how;
  how.encoding = o.info.encoding;
  how.channels = static_cast<int>(o.choice.from.size());
  if (o.choice.has_alpha) how.alpha = o.straight_alpha ? StoredRow::Alpha::straight : StoredRow::Alpha::associated;
  if (type == OIIO::TypeDesc::UINT8) {
    how.component = StoredRow::Component::uint8;
  } else if (type == OIIO::TypeDesc::UINT16) {
    how.component = StoredRow::Component::uint16;
    how.bits = std::clamp(o.info.bits, 8, 16);
  } else {
    how.component = type == OIIO::TypeDesc::HALF ? StoredRow::Component::half : StoredRow::Component::float32;
  }
  return how;
}

// Moves the chosen components of a row, of `bytes` each, to its front. They never overtake those still to be read
// unless channels change places, hence the copy.
void pick(const Choice& choice, int first, int span, size_t bytes, int width, const unsigned char* row,
          unsigned char* out) {
  for (int x = 0; x < width; ++x, row += span * bytes)
    for (int from : choice.from) {
      std::memcpy(out, row + (from - first) * bytes, bytes);
      out += bytes;
    }
}

// Grey, with or without alpha, as three channels in place.
void spread_grey(float* row, int width, bool has_alpha) {
  const int from = has_alpha ? 2 : 1, to = from + 2;
  for (int x = width - 1; x >= 0; --x) {
    const float y = row[from * x], a = row[from * x + from - 1];
    std::fill_n(row + to * x, 3, y);
    if (has_alpha) row[to * x + 3] = a;
  }
}

Result<StillFile> decode_still(const std::string& path, const ReadOptions& options, Opened& o) {
  const OIIO::ImageSpec& s = o.spec;
  const auto [low, high] = std::minmax_element(o.choice.from.begin(), o.choice.from.end());
  const int first = *low, span = *high - *low + 1, chosen = static_cast<int>(o.choice.from.size());
  OIIO::TypeDesc type = s.format;
  if (!s.channelformats.empty()) type = OIIO::TypeDesc::FLOAT;
  if (type != OIIO::TypeDesc::UINT8 && type != OIIO::TypeDesc::UINT16 && type != OIIO::TypeDesc::HALF)
    type = OIIO::TypeDesc::FLOAT;
  const size_t row_bytes = static_cast<size_t>(s.width) * span * type.size();
  const auto native = take_buffer((row_bytes * s.height + sizeof(float) - 1) / sizeof(float));
  auto* bytes = reinterpret_cast<unsigned char*>(native.get());
  const bool read = o.input->read_image(0, 0, first, first + span, type, bytes);
  const std::string why = codec::first_line(o.input->geterror());
  // libjpeg asks for more than there is as a matter of course; TIFF reads strips ahead.
  const bool asks_exactly = o.info.type != FileType::jpeg && o.info.type != FileType::tiff;
  if (o.source->read_past_end() && (!read || asks_exactly)) return fail_for(path, cut_off());
  if (!read)
    return fail_for(path,
                    {.what = fmt::format("the picture cannot be decoded ({})", why.empty() ? "no reason given" : why),
                     .remedy = "copy or render it again"});

  const int x0 = s.x - s.full_x, y0 = s.y - s.full_y;
  Canvas canvas({x0, y0, x0 + s.width, y0 + s.height}, o.choice.channels());
  const StoredRow how = stored_row(o, type);
  const bool as_is = span == chosen && std::is_sorted(o.choice.from.begin(), o.choice.from.end());
  std::vector<unsigned char> picked(as_is ? 0 : static_cast<size_t>(s.width) * chosen * type.size());
  OddValues odd;
  for (int y = 0; y < s.height; ++y) {
    unsigned char* row = bytes + row_bytes * y;
    if (!as_is) {
      pick(o.choice, first, span, type.size(), s.width, row, picked.data());
      row = picked.data();
    }
    float* out = canvas.row(y0 + y);
    decode_row(how, row, s.width, out, odd);
    if (o.choice.three_greys) spread_grey(out, s.width, o.choice.has_alpha);
    if (options.space)
      odd.not_finite += transform_premultiplied(*options.space, out, static_cast<size_t>(s.width), o.choice.channels());
  }
  if (odd.not_finite > 0)
    o.warnings.push_back(
        {.what = fmt::format("{} values are not finite numbers; they are read as 0 or {}", odd.not_finite, kMostHalf),
         .remedy = "render it again if that shows",
         .file = path,
         .severity = Severity::warning});
  return StillFile{set_upright(std::move(canvas).finish(), o.orientation), o.info, o.warnings};
}

}  // namespace

Result<StillFile> read_still(const std::string& path, const ReadOptions& options) {
  try {
    auto opened = open_still(path, options);
    if (!opened) return fail(std::move(opened.error()));
    return decode_still(path, options, *opened);
  } catch (const std::bad_alloc&) {
    return fail_for(path, {.what = "there is not enough memory for the picture", .remedy = "use a smaller one"});
  } catch (const std::exception& e) {
    return fail_for(path, {.what = fmt::format("the picture cannot be read ({})", codec::first_line(e.what())),
                           .remedy = "copy or render it again"});
  }
}

std::string text_in(const StillInfo& info, std::string_view name) {
  for (const auto& [key, text] : info.texts) {
    if (key == name) return text;
    for (size_t at = 0; at < text.size();) {
      const size_t end = std::min(text.find("; ", at), text.size());
      const std::string_view one = std::string_view(text).substr(at, end - at);
      if (one.starts_with(name) && one.substr(name.size()).starts_with('='))
        return std::string(one.substr(name.size() + 1));
      at = end + 2;
    }
  }
  return {};
}

Result<StillInfo> inspect_still(const std::string& path, const ReadOptions& options) {
  try {
    auto opened = open_still(path, options);
    if (!opened) return fail(std::move(opened.error()));
    return opened->info;
  } catch (const std::exception& e) {
    return fail_for(path, {.what = fmt::format("the picture cannot be read ({})", codec::first_line(e.what())),
                           .remedy = "copy or render it again"});
  }
}

}  // namespace pw
