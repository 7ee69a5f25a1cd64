#include "comp/media/probe.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <fstream>

#include "comp/media/frames.h"

namespace pw {
namespace {

// The first bytes of a file; none when it cannot be read, which the reading proper will word.
std::vector<unsigned char> head_of(const std::string& path) {
  std::vector<unsigned char> head(512);
  std::ifstream in(path, std::ios::binary);
  in.read(reinterpret_cast<char*>(head.data()), static_cast<std::streamsize>(head.size()));
  head.resize(static_cast<size_t>(std::max<std::streamsize>(in.gcount(), 0)));
  return head;
}

std::string depth_text(const StillInfo& s) { return fmt::format("{} bit{}", s.bits, s.is_float ? " float" : ""); }

void add_still(const StillInfo& s, std::vector<std::string>& out) {
  out.push_back(fmt::format("size         {} x {}", s.width, s.height));
  if (s.data_window != Rect::sized(s.width, s.height))
    out.push_back(fmt::format("data window  {}, {} to {}, {} ({} x {})", s.data_window.x0, s.data_window.y0,
                              s.data_window.x1, s.data_window.y1, s.data_window.width(), s.data_window.height()));
  out.push_back(fmt::format("channels     {} ({})", s.channel_names.size(), fmt::join(s.channel_names, " ")));
  out.push_back(fmt::format("depth        {}", depth_text(s)));
  if (!s.compression.empty()) out.push_back(fmt::format("compression  {}", s.compression));
  out.push_back(fmt::format("encoding     {} ({})", name(s.encoding), s.encoding_from));
  for (const auto& [key, text] : s.texts) out.push_back(fmt::format("{:<12} {}", key, text));
}

}  // namespace

Result<Probe> probe(const std::string& path) {
  Probe p{.path = path};
  if (looks_like_pattern(path)) {
    auto s = open_sequence(path);
    if (!s) return fail(std::move(s.error()));
    p.kind = Probe::Kind::sequence;
    p.still = std::move(s->first);
    p.frames = std::move(s->frames);
    return p;
  }
  const Signature what = recognise(head_of(path));
  if (what.type == FileType::movie) {
    p.kind = Probe::Kind::movie;
    p.movie_type = what.what;
    return p;
  }
  auto s = inspect_still(path);
  if (!s) return fail(std::move(s.error()));
  p.still = *std::move(s);
  return p;
}

std::vector<std::string> lines(const Probe& p) {
  std::vector<std::string> out;
  if (p.kind == Probe::Kind::movie) {
    out.push_back(fmt::format("{}: {}", p.path, p.movie_type));
    out.push_back("unpack it to numbered pictures (PNG, TIFF or EXR) to use it");
    return out;
  }
  if (p.kind == Probe::Kind::still) {
    out.push_back(fmt::format("{}: {} picture", p.path, name(p.still.type)));
  } else {
    out.push_back(fmt::format("{}: {} sequence", p.path, name(p.still.type)));
    out.push_back(fmt::format("frames       {} ({})", frames_text(p.frames), p.frames.size()));
    const std::vector<int> missing = gaps(p.frames);
    if (!missing.empty()) out.push_back(fmt::format("gaps         {}", missing_text(missing)));
  }
  add_still(p.still, out);
  return out;
}

}  // namespace pw
