#include "comp/media/probe.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <fstream>

#include "comp/media/frames.h"
#include "comp/media/letterbox.h"

namespace pw {
namespace {

// With so many bits a pixel a coder shows what moves displaced by about .3 px. The shaken board of tests/truth/draw.sh
// (H.264, 640x480): .75 px with .021 bits, .41 with .033, .20 with .048, .12 with .065.
constexpr double kFewBits = 0.04;

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

void add_movie(const MovieInfo& m, std::vector<std::string>& out) {
  out.push_back(fmt::format("container    {}", m.container));
  out.push_back(fmt::format("coder        {}", m.codec));
  out.push_back(fmt::format("frames       1-{} ({:.2f} s)", m.frames, m.seconds));
  out.push_back(fmt::format("data         {:.3g} bits a pixel{}", m.bits_per_pixel,
                            m.bits_per_pixel < kFewBits
                                ? ", few: what moves is shown displaced by some tenths of a pixel, and no track can "
                                  "know of that; ask for the movie as the camera wrote it"
                                : ""));
  out.push_back(m.timing.constant
                    ? fmt::format("rate         {} a second", to_string(m.timing.rate))
                    : fmt::format("rate         varies, about {} a second; frames are taken by their times at the rate "
                                  "of the shot",
                                  to_string(m.timing.rate)));
  out.push_back(fmt::format("size         {} x {}{}", m.width, m.height, m.orientation == 1 ? "" : " (set upright)"));
  out.push_back(fmt::format("samples      {}, {} bit", m.sampling, m.bits));
  out.push_back(fmt::format("matrix       {} ({})", name(m.matrix.value), m.matrix.from));
  out.push_back(fmt::format("range        {} ({})", name(m.range.value), m.range.from));
  out.push_back(fmt::format("siting       {} ({})", name(m.siting.value), m.siting.from));
  out.push_back(fmt::format("encoding     {} ({})", name(m.encoding.value), m.encoding.from));
  out.push_back(fmt::format("primaries    {}{}", m.primaries.empty() ? "not said" : m.primaries,
                            m.rec2020 ? " (BT.2020, turned into Rec.709)" : ""));
  if (!m.timecode.empty()) out.push_back(fmt::format("timecode     {}", m.timecode));
  for (const std::string& sound : m.sound) out.push_back(fmt::format("sound        {}", sound));
}

void add_active(const Probe& p, std::vector<std::string>& out) {
  if (!p.active) return;
  out.push_back(fmt::format("bars         it looks letterboxed; say so in the shot: active = [{}, {}, {}, {}]",
                            p.active->x0, p.active->y0, p.active->x1, p.active->y1));
}

// Five frames across `count`, of those that can be read.
template <class Read>
std::vector<Picture> across(int count, const Read& read) {
  constexpr int kSome = 5;
  std::vector<Picture> some;
  for (int i = 0, last = -1; i < kSome; ++i) {
    const int n = static_cast<int>((2 * i + 1) * int64_t{count} / (2 * kSome));
    if (n == last) continue;
    last = n;
    if (auto p = read(n)) some.push_back(*std::move(p));
  }
  return some;
}

Result<Picture> picture_of(Result<StillFile> file) {
  if (!file) return fail(std::move(file.error()));
  return std::move(file->picture);
}

}  // namespace

bool is_movie(const std::string& path) { return recognise(head_of(path)).type == FileType::movie; }

Result<Probe> probe(const std::string& path) {
  Probe p{.path = path};
  if (looks_like_pattern(path)) {
    auto s = open_sequence(path);
    if (!s) return fail(std::move(s.error()));
    p.kind = Probe::Kind::sequence;
    p.still = s->first;
    p.frames = s->frames;
    const auto some = across(static_cast<int>(p.frames.size()),
                             [&](int n) { return picture_of(read_frame(*s, p.frames[static_cast<size_t>(n)])); });
    p.active = active_part(some, p.still.encoding);
    return p;
  }
  if (is_movie(path)) {
    auto movie = Movie::open(path);
    if (!movie) return fail(std::move(movie.error()));
    p.kind = Probe::Kind::movie;
    p.movie = (*movie)->info();
    const auto some = across(p.movie.frames, [&](int n) { return (*movie)->read(n); });
    p.active = active_part(some, p.movie.encoding.value);
    return p;
  }
  auto s = inspect_still(path);
  if (!s) return fail(std::move(s.error()));
  p.still = *std::move(s);
  p.active = active_part(across(1, [&](int) { return picture_of(read_still(path)); }), p.still.encoding);
  return p;
}

std::vector<std::string> lines(const Probe& p) {
  std::vector<std::string> out;
  if (p.kind == Probe::Kind::movie) {
    out.push_back(fmt::format("{}: movie", p.path));
    add_movie(p.movie, out);
    add_active(p, out);
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
  add_active(p, out);
  return out;
}

}  // namespace pw
