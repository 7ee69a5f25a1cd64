#include "comp/media/letterbox.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace pw {
namespace {

// On average a line of a bar lies as near to black as this; a coder's ringing beside the picture may go further.
constexpr float kNear = 3.f / 255, kRinging = 20.f / 255, kDark = 0.1f;

// Luma (ITU-R BT.709) of the code values, row by row: colour of fewer samples than luma leaks into bars.
std::vector<float> luma(const Picture& p, Encoding encoding) {
  const int channels = p.channels(), width = p.window().width();
  std::vector<float> code(size_t{1} * width * channels), out;
  for (int y = p.window().y0; y < p.window().y1; ++y) {
    encode(encoding, p.row(y), code.data(), code.size());
    for (int x = 0; x < width; ++x) {
      const float* c = &code[size_t{1} * x * channels];
      out.push_back(channels < 3 ? c[0] : 0.2126f * c[0] + 0.7152f * c[1] + 0.0722f * c[2]);
    }
  }
  return out;
}

// Of one frame: what lies inside its bars; empty when all of it is as dark as they are.
Rect picture_in(const std::vector<float>& luma, const Rect& window, float black) {
  Rect r = Rect::sized(window.width(), window.height());
  const auto bar = [&](const Rect& line) {
    double sum = 0;
    for (int y = line.y0; y < line.y1; ++y)
      for (int x = line.x0; x < line.x1; ++x) {
        const float off = luma[size_t{1} * y * window.width() + x] - black;
        if (!(std::abs(off) <= kRinging)) return false;
        sum += off;
      }
    return std::abs(sum) <= kNear * static_cast<double>(line.area());
  };
  while (!r.empty() && bar({r.x0, r.y0, r.x1, r.y0 + 1})) ++r.y0;
  while (!r.empty() && bar({r.x0, r.y1 - 1, r.x1, r.y1})) --r.y1;
  while (!r.empty() && bar({r.x0, r.y0, r.x0 + 1, r.y1})) ++r.x0;
  while (!r.empty() && bar({r.x1 - 1, r.y0, r.x1, r.y1})) --r.x1;
  return r.empty() ? Rect{} : r.moved(window.x0, window.y0);
}

}  // namespace

std::optional<Rect> active_part(std::span<const Picture> frames, Encoding encoding) {
  if (encoding == Encoding::linear) encoding = Encoding::srgb;
  Rect all, found;
  for (const Picture& p : frames) {
    if (p.empty()) continue;
    const std::vector<float> code = luma(p, encoding);
    all = p.window();
    // Bars are in the corners; the darkest, since the picture may reach into some.
    const auto width = static_cast<size_t>(all.width());
    const float black = std::min({code[0], code[width - 1], code[code.size() - width], code.back()});
    if (!(black <= kDark)) return std::nullopt;
    found = unite(found, picture_in(code, all, black));
  }
  return found.empty() || found == all ? std::nullopt : std::optional(found);
}

}  // namespace pw
