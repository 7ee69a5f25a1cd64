#include "comp/matte/edge.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include "comp/matte/cell_line.h"
#include "comp/matte/combine.h"

namespace pw {
namespace {

// A piece of a sharp edge in or at the side of one pixel.
struct Piece {
  int x, y;               // The pixel.
  double ax, ay, bx, by;  // Its ends, from the pixel's middle.
  double nx, ny;
  float sharp;  // 1: goes from 0 to 1 within the 3 x 3 pixels around; 0: is part of a soft edge.
};

// Softer than the first: the levels move. Sharper than the second: the line does.
constexpr float kSoft = 0.8f, kSharp = 0.98f;

float smooth_step(float low, float high, float v) {
  const float t = std::clamp((v - low) / (high - low), 0.f, 1.f);
  return t * t * (3 - 2 * t);
}

// The part of the line inside its pixel.
Piece piece_of(const CellLine& line, int x, int y, float sharp) {
  // The foot of the middle on the line, and how far the line runs from there to either side before it leaves.
  const double fx = line.nx * line.d, fy = line.ny * line.d, tx = -line.ny, ty = line.nx;
  double from = -2, to = 2;
  for (const auto& [f, t] : {std::pair{fx, tx}, std::pair{fy, ty}}) {
    if (std::abs(t) < 1e-12) continue;
    const double a = (-0.5 - f) / t, b = (0.5 - f) / t;
    from = std::max(from, std::min(a, b)), to = std::min(to, std::max(a, b));
  }
  if (from > to) from = to = (from + to) / 2;
  return {x, y, fx + from * tx, fy + from * ty, fx + to * tx, fy + to * ty, line.nx, line.ny, sharp};
}

struct Found {
  std::vector<Piece> pieces;  // Row by row.
  bool any_soft = false;
};

// `wide` is one pixel larger on every side than where pieces are looked for.
Found find_pieces(const Picture& wide) {
  Found found;
  const Rect w = wide.window();
  for (int y = w.y0 + 1; y < w.y1 - 1; ++y)
    for (int x = w.x0 + 1; x < w.x1 - 1; ++x) {
      const float a = *wide.at(x, y);
      if (a <= 0) continue;
      if (a >= 1) {  // An edge between pixels.
        constexpr int kSides[4][2] = {{-1, 0}, {1, 0}, {0, -1}, {0, 1}};
        for (const auto& [dx, dy] : kSides)
          if (*wide.at(x + dx, y + dy) <= 0)
            found.pieces.push_back({x, y, 0.5 * dx - 0.5 * dy, 0.5 * dy - 0.5 * dx, 0.5 * dx + 0.5 * dy,
                                    0.5 * dy + 0.5 * dx, double(dx), double(dy), 1});
        continue;
      }
      float share[3][3], low = 1, high = 0;
      for (int j = 0; j < 3; ++j)
        for (int i = 0; i < 3; ++i) {
          share[j][i] = *wide.at(x + i - 1, y + j - 1);
          low = std::min(low, share[j][i]), high = std::max(high, share[j][i]);
        }
      const float sharp = smooth_step(kSoft, kSharp, high - low);
      found.any_soft = found.any_soft || sharp < 1;
      if (sharp > 0) found.pieces.push_back(piece_of(edge_through(share), x, y, sharp));
    }
  return found;
}

// What lies nearest to a pixel's middle.
struct Nearest {
  float square = 1e30f;
  float nx = 1, ny = 0, sharp = 0;
};

void look_around(const Piece& p, double radius, const Rect& rect, std::vector<Nearest>& nearest) {
  const int reach = static_cast<int>(radius) + 1;
  const Rect near = intersect(rect, Rect{p.x, p.y, p.x + 1, p.y + 1}.grown(reach));
  const double lx = p.bx - p.ax, ly = p.by - p.ay, length = lx * lx + ly * ly, limit = radius * radius;
  for (int y = near.y0; y < near.y1; ++y)
    for (int x = near.x0; x < near.x1; ++x) {
      const double px = x - p.x, py = y - p.y;
      const double t = length > 0 ? std::clamp(((px - p.ax) * lx + (py - p.ay) * ly) / length, 0.0, 1.0) : 0;
      const double dx = px - p.ax - t * lx, dy = py - p.ay - t * ly, square = dx * dx + dy * dy;
      if (square > limit) continue;
      Nearest& n = nearest[size_t(y - rect.y0) * rect.width() + (x - rect.x0)];
      if (!(static_cast<float>(square) < n.square)) continue;
      // Close by the line's own direction is meant; from afar, the way to the nearest point.
      const bool close = square < 0.1;
      const double away = close ? 1 : std::sqrt(square);
      n = {static_cast<float>(square), static_cast<float>(close ? p.nx : dx / away),
           static_cast<float>(close ? p.ny : dy / away), p.sharp};
    }
}

float sharp_value(const Nearest& n, bool inside, const EdgeMove& move) {
  const double depth = (inside ? 1 : -1) * std::sqrt(double(n.square)) + move.outward_px;
  if (move.feather_px > 0) {
    // An outline's own feather (raster.h).
    const double u = std::clamp((depth / std::hypot(move.feather_px, 0.76) + 1) / 2, 0.0, 1.0);
    return static_cast<float>(u * u * u * (u * (6 * u - 15) + 10));
  }
  return static_cast<float>(covered({n.nx, n.ny, depth}));
}

Picture soft_moved(const Picture& matte, const EdgeMove& move, const Rect& rect) {
  const int blur = feather_reach(move.feather_px);
  const Rect wide = rect.grown(blur);
  Picture p = matte;
  if (move.outward_px > 0) p = disc_largest(p, move.outward_px, wide);
  if (move.outward_px < 0) {
    const int reach = static_cast<int>(-move.outward_px) + 1;
    p = inverted(disc_largest(inverted(p, wide.grown(reach)), -move.outward_px, wide), wide);
  }
  return feathered(p, move.feather_px, rect);
}

int soft_reach(const EdgeMove& m) {
  return feather_reach(m.feather_px) + (m.outward_px != 0 ? static_cast<int>(std::abs(m.outward_px)) + 1 : 0);
}
// Everything a soft edge's window can see, its corners too, so that where there is no edge within it all is flat.
double sharp_radius(const EdgeMove& m) {
  return std::max(1.4143 * (soft_reach(m) + 1), std::abs(m.outward_px) + m.feather_px + 1.5);
}

}  // namespace

int edge_reach(const EdgeMove& move) {
  if (move.outward_px == 0 && move.feather_px == 0) return 0;
  return static_cast<int>(sharp_radius(move)) + 3;
}

Picture edge_moved(const Picture& matte, const EdgeMove& move, const Rect& rect) {
  const int reach = edge_reach(move);
  if (reach == 0 || rect.empty()) return Canvas::copy(matte, rect).finish();
  const Picture wide = Canvas::copy(matte, rect.grown(reach)).finish();
  const Found found = find_pieces(wide);
  if (found.pieces.empty() && !found.any_soft) return wide.cropped(rect);
  std::vector<Nearest> nearest(static_cast<size_t>(rect.area()));
  const double radius = sharp_radius(move);
  for (const Piece& p : found.pieces) look_around(p, radius, rect, nearest);
  Canvas out = Canvas::copy(found.any_soft ? soft_moved(wide, move, rect) : wide, rect);
  for (int y = rect.y0; y < rect.y1; ++y)
    for (int x = rect.x0; x < rect.x1; ++x) {
      const Nearest& n = nearest[size_t(y - rect.y0) * rect.width() + (x - rect.x0)];
      if (n.sharp <= 0) continue;
      const float sharp = sharp_value(n, *wide.at(x, y) >= 0.5f, move);
      float& v = *out.at(x, y);
      v = n.sharp >= 1 ? sharp : v + n.sharp * (sharp - v);
    }
  return std::move(out).finish();
}

}  // namespace pw
