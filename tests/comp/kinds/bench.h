// Inputs for any kind: pictures of random numbers, a motion in perspective, a still, an outline. What a kind does not
// ask for in needs() is poisoned, so that a kind that reads too far is found out.
#pragma once
#include <cmath>
#include <limits>
#include <string>

#include "base/random.h"
#include "comp/kinds/registry.h"

namespace pw::bench {

inline Picture noise(const Rect& r, int channels, uint32_t lane) {
  Canvas c(r, channels);
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x) {
      const RandomBits b = random_bits(3, 0, x, y, lane);
      float* p = c.at(x, y);
      // Coarse blocks of full, no and partial coverage, so that every branch on alpha is met.
      const float block = uniform(random_bits(4, 0, x >> 3, y >> 3, lane)[0]);
      const float a = block < 0.3f ? 0.f : block < 0.6f ? 1.f : uniform(b[3]);
      if (channels == 1) {
        p[0] = a;
        continue;
      }
      for (int k = 0; k < 3; ++k) p[k] = uniform(b[k]) * 1.5f * (channels == 4 ? a : 1.f);
      if (channels == 4) p[3] = a;
    }
  return std::move(c).finish();
}

inline Motion motion(const Shot& shot) {
  const double w = shot.width, h = shot.height;
  Motion m{shot.width,
           shot.height,
           shot.first,
           {{0.2 * w, 0.2 * h}, {0.8 * w, 0.25 * h}, {0.75 * w, 0.8 * h}, {0.2 * w, 0.75 * h}},
           {}};
  for (int f = shot.first; f <= shot.last; ++f) {
    const double t = f - shot.first;
    Pose p;
    p.frame = f;
    p.frame_from_ref << 1 + 0.01 * t, 0.02 * t, 1.7 * t, -0.015 * t, 1 + 0.008 * t, -0.9 * t, 1e-4 * t, 5e-5 * t, 1;
    m.poses.push_back(p);
  }
  return m;
}

inline Light light(const Shot& shot) {
  Light l = Light::grid(shot.width, shot.height, 9);
  for (int f = shot.first; f <= shot.last; ++f) {
    l.frames.push_back({f, {}, 1});
    for (int i = 0; i < 3 * l.columns * l.rows; ++i)
      l.frames.back().stops.push_back(uniform(random_bits(6, f, i, 0)[0]) - 0.5f);
  }
  return l;
}

inline Noise grain() {
  Noise n = Noise::white({{0, 0.003}, {0.2, 0.012}, {1, 0.02}});
  n.reach = 1;
  n.spatial.fill({0.1, 0.3, 0.1, 0.3, 1, 0.3, 0.1, 0.3, 0.1});
  n.between = {{{1, 0.4, 0.2}, {0.4, 1, 0.3}, {0.2, 0.3, 1}}};
  n.rain = {0.05, 0.04, 0.06};
  return n;
}

struct Bench {
  Shot shot;
  std::vector<Measured> measured;  // [input], of what has no pixels.
  Still still;
  Measured own;
  std::vector<std::vector<Connection>> inputs;
  std::vector<std::vector<Picture>> pictures;

  // `still_input`: picture inputs are fixed and come from a still, as a pin's may.
  Bench(const Kind& kind, int width, int height, bool fixed) {
    shot.width = width, shot.height = height, shot.first = 1, shot.last = 8;
    still = {noise(Rect{-3, -2, width + 5, height + 4}, 4, 77), 3, {3, 5}, 0};
    if (kind.family == Family::bake) own = still;
    if (kind.family == Family::measure) {
      const double w = width, h = height;
      const Point corners[] = {{0.1 * w, 0.2 * h}, {0.9 * w, 0.1 * h}, {0.8 * w, 0.9 * h}};
      Shape a{{polygon(corners)}}, b = mapped(a, translation(0.15 * w, 0.05 * h));
      own = Outline({{1, a}, {6, b}});
    }
    measured.resize(kind.inputs.size());
    for (size_t i = 0; i < kind.inputs.size(); ++i) {
      const Input& input = kind.inputs[i];
      inputs.emplace_back();
      pictures.emplace_back();
      for (int item = 0; item < (input.list ? 2 : 1); ++item) {
        Connection c{"node", nullptr, nullptr, fixed, {}};
        Picture p;
        if (input.flow == Flow::motion) {
          measured[i] = motion(shot);
        } else if (input.flow == Flow::light) {
          measured[i] = light(shot);
        } else if (input.flow == Flow::noise) {
          measured[i] = grain();
        } else if (input.flow == Flow::lens) {
          measured[i] = Lens{-0.1, 0.01};
        } else {
          const int channels = input.flow == Flow::picture ? (item + i) % 2 ? 3 : 4 : 1;
          p = fixed && input.flow == Flow::picture ? still.picture
                                                   : noise(shot.canvas(), channels, uint32_t(i * 7 + item));
          c.extent = p.window();
          if (fixed) c.still = &still;
        }
        inputs.back().push_back(c);
        pictures.back().push_back(p);
      }
    }
    for (size_t i = 0; i < kind.inputs.size(); ++i)
      if (!has_pixels(kind.inputs[i].flow)) inputs[i][0].measured = &measured[i];
  }

  Rect extent(const Kind& kind, const void* params, int frame) const {
    if (kind.hooks.extent) return kind.hooks.extent(params, Ask{shot, frame, {}, 0, inputs, &own});
    Rect r;
    for (const auto& input : inputs)
      for (const Connection& c : input) r = unite(r, c.extent);
    return r;
  }

  std::vector<Demand> needs(const Kind& kind, const void* params, int frame, const Rect& rect) const {
    if (kind.hooks.needs) return kind.hooks.needs(params, Ask{shot, frame, rect, 0, inputs, &own});
    std::vector<Demand> d;
    for (size_t i = 0; i < inputs.size(); ++i)
      for (size_t j = 0; j < inputs[i].size(); ++j)
        if (!inputs[i][j].measured) d.push_back({int(i), int(j), frame, rect});
    return d;
  }

  // The picture over `rect`, drawn in tiles by the runner; `poison` fills what was not asked for.
  Picture draw(const Kind& kind, const void* params, int frame, const Rect& rect, const Runner& runner, int tile_w,
               int tile_h, float poison = std::numeric_limits<float>::quiet_NaN()) const {
    std::vector<Rect> tiles;
    for (int y = rect.y0; y < rect.y1; y += tile_h)
      for (int x = rect.x0; x < rect.x1; x += tile_w)
        tiles.push_back({x, y, std::min(x + tile_w, rect.x1), std::min(y + tile_h, rect.y1)});
    std::vector<Picture> made(tiles.size());
    runner.run(tiles.size(), [&](size_t t) {
      // Each tile is given only what it asks for, not what the whole would.
      const auto demands = needs(kind, params, frame, tiles[t]);
      std::vector<Picture> given;
      for (const Demand& d : demands) given.push_back(poisoned(pictures[d.input][d.item], d.rect, poison));
      const Picture none;
      const Making m{Ask{shot, frame, tiles[t], 0, inputs, &own}, [&](int input, int item, int f) -> const Picture& {
                       for (size_t i = 0; i < demands.size(); ++i)
                         if (demands[i].input == input && demands[i].item == item && demands[i].frame == f)
                           return given[i];
                       return none;
                     }};
      made[t] = kind.hooks.make(params, m);
    });
    Canvas whole = Canvas::clear(rect, made.empty() ? 1 : made[0].channels());
    for (size_t t = 0; t < tiles.size(); ++t) {
      const Rect inside = intersect(tiles[t], made[t].window());
      for (int y = inside.y0; y < inside.y1; ++y)
        std::copy_n(made[t].at(inside.x0, y), inside.width() * whole.channels(), whole.at(inside.x0, y));
    }
    return std::move(whole).finish();
  }

 private:
  static Picture poisoned(const Picture& p, const Rect& asked, float poison) {
    Canvas c = Canvas::copy(p, p.window());
    for (int y = p.window().y0; y < p.window().y1; ++y)
      for (int x = p.window().x0; x < p.window().x1; ++x)
        if (!asked.contains(x, y)) std::fill_n(c.at(x, y), p.channels(), poison);
    return std::move(c).finish();
  }
};

}  // namespace pw::bench
