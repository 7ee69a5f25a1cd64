#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "apps/command.h"
#include "apps/say.h"
#include "comp/media/frames.h"
#include "comp/media/sequence.h"
#include "warp/resample.h"

namespace pw {
namespace {

// "x0,y0,x1,y1"; nothing when it is no rectangle.
std::optional<Rect> rect_of(const std::string& text) {
  Rect r;
  int used = 0;
  if (std::sscanf(text.c_str(), "%7d,%7d,%7d,%7d%n", &r.x0, &r.y0, &r.x1, &r.y1, &used) != 4 ||
      used != int(text.size()) || r.empty())
    return std::nullopt;
  return r;
}

// One picture of the sheet: whole and area-filtered, or a crop with every pixel a square.
Picture cell(const Picture& p, const Rect& part, int height, bool enlarge) {
  const double s = static_cast<double>(height) / part.height();
  const Rect out = Rect::sized(std::max(1, static_cast<int>(std::lround(part.width() * s))), height);
  if (!enlarge) return resample(p, scaling(s, s) * translation(-part.x0, -part.y0), out, {.edge = Edge::hold});
  Canvas c = Canvas::clear(out, p.channels());
  for (int y = 0; y < out.y1; ++y)
    for (int x = 0; x < out.x1; ++x) {
      const int sx = part.x0 + static_cast<int>((x + 0.5) / s), sy = part.y0 + static_cast<int>((y + 0.5) / s);
      if (p.window().contains(sx, sy)) std::copy_n(p.at(sx, sy), p.channels(), c.at(x, y));
    }
  return std::move(c).finish();
}

}  // namespace

int run(const SheetCommand& c) {
  std::optional<Rect> crop;
  if (!c.crop.empty() && !(crop = rect_of(c.crop))) {
    say({{.what = fmt::format("\"{}\" is no rectangle", c.crop),
          .remedy = "write x0,y0,x1,y1 in pixels, as in 400,200,640,335",
          .file = "--crop"}});
    return kMistake;
  }
  if (looks_like_pattern(c.out)) {  // The rows alone were named, most likely.
    say({{.what = "the page is one file, not a sequence",
          .remedy = "name the page before the rows, as in sheet.png plate.####.png",
          .file = c.out}});
    return kMistake;
  }
  std::vector<Sequence> rows;
  for (const std::string& row : c.rows) {
    auto s = open_sequence(row);
    if (!s) return say(s.error()), kMistake;
    rows.push_back(std::move(*s));
  }
  std::vector<int> frames;
  if (!c.frames.empty()) {
    auto asked = parse_frames(c.frames);
    if (!asked) return say(asked.error()), kMistake;
    frames = *asked;
  } else {
    const auto& all = rows[0].frames;
    const size_t n = std::min<size_t>(6, all.size());
    for (size_t i = 0; i < n; ++i) frames.push_back(all[n == 1 ? 0 : i * (all.size() - 1) / (n - 1)]);
  }
  constexpr int kGap = 4;
  std::vector<std::vector<Picture>> cells;
  const auto too_large = [&](int64_t x) {
    say({{.what = fmt::format("the sheet would be {} pixels wide or more", x),
          .remedy = "take fewer frames, a smaller --height or a --crop less flat",
          .file = c.out}});
    return kMistake;
  };
  const int64_t kMost = int64_t{1} << 28;  // Pixels.
  int64_t width = 0, height = kGap;
  for (const Sequence& row : rows) {
    cells.emplace_back();
    int64_t x = kGap;
    for (int f : frames) {
      auto file = read_frame(row, f);
      if (!file) return say(file.error()), kMistake;
      const Rect part = crop ? *crop : Rect::sized(file->info.width, file->info.height);
      if (x += int64_t{part.width()} * c.height / part.height(); std::max(x, width) > kMost / (height + c.height))
        return too_large(x);
      x += kGap;
      cells.back().push_back(cell(file->picture, part, c.height, crop.has_value()));
    }
    for (x = kGap; const Picture& p : cells.back()) x += p.window().width() + kGap;
    width = std::max(width, x);
    height += c.height + kGap;
  }
  const float paper[] = {0.03f, 0.03f, 0.03f};
  Canvas sheet = Canvas::filled(Rect::sized(static_cast<int>(width), static_cast<int>(height)), 3, paper);
  int y0 = kGap;
  for (const auto& row : cells) {
    int x0 = kGap;
    for (const Picture& p : row) {
      const Rect w = p.window();
      for (int y = 0; y < w.height(); ++y)
        for (int x = 0; x < w.width(); ++x)
          for (int k = 0; k < 3; ++k) sheet.at(x0 + x, y0 + y)[k] = p.at(w.x0 + x, w.y0 + y)[p.channels() >= 3 ? k : 0];
      x0 += w.width() + kGap;
    }
    y0 += c.height + kGap;
  }
  auto written = write_still(c.out, std::move(sheet).finish());
  if (!written) return say(written.error()), kMistake;
  fmt::print("{}: {} rows, frames {}\n", c.out, rows.size(), frames_text(frames));
  return kDone;
}

}  // namespace pw
