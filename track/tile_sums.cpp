// The derivative of a pixel by the eight numbers of motion is gx P + gy Q, with
//   P = (X, Y, 1, 0, 0, 0, -X^2, -XY) and Q = (0, 0, 0, X, Y, 1, -XY, -Y^2),
// so all sums over a tile are sums of a few numbers of each pixel times powers of X and Y. Those are gathered in float
// over some pixels at a time and in double over the tile, so that they hold seven digits; what solve() wants is put
// together once for each tile.
#include <immintrin.h>

#include <algorithm>

#include "track/normal.h"

namespace pw {
namespace {

using d8 = double __attribute__((vector_size(64)));

constexpr int kSome = 32;  // Pixels; a tile is no wider.

// A pixel's numbers, named by what is multiplied: weight w (in all of them), gradients gx and gy, value v of the
// reference, residual r. Those that the channels share are added up over them; of the others each channel has its own.
enum Summed { gx_gx, gx_gy, gx_r, gx_v, gy_gx, gy_gy, gy_r, gy_v, kSummed };
enum Each { w_one, w_r, w_v, w_v_v, w_v_r, w_gx, w_gy, w_gx_v, w_gy_v, kEach };

// Powers of a pixel's place, of X and Y and of the tile's own xi and eta, which run from -1 to 1 across it.
struct Powers {
  f8 low;   // 1, X, Y, X^2, XY, Y^2, X^4, Y^4
  f8 high;  // X^3, X^2 Y, X Y^2, Y^3, X^3 Y, X^2 Y^2, X Y^3, 0
  f8 own;   // 1, xi, eta, xi^2, xi eta, eta^2, 0, 0
};
Powers of_column(float X, float xi) {
  const float X2 = X * X, X3 = X2 * X;
  return {f8{1, X, 1, X2, X, 1, X2 * X2, 1}, f8{X3, X2, X, 1, X3, X2, X, 0}, f8{1, xi, 1, xi * xi, xi, 1, 0, 0}};
}
Powers of_row(float Y, float eta) {
  const float Y2 = Y * Y, Y3 = Y2 * Y;
  return {f8{1, 1, Y, 1, Y, Y2, 1, Y2 * Y2}, f8{1, Y, Y2, Y3, Y, Y2, Y3, 0}, f8{1, 1, eta, 1, eta, eta * eta, 0, 0}};
}

struct Some {
  int count = 0;
  Powers powers[kSome];
  float xi[kSome], eta[kSome];
  alignas(32) float summed[kSome][kSummed];
  f4 each[kSome][kEach];
};

// Adds to sums[k] number(i)[k] * power(i) for all i; so few sums at a time that they stay in registers.
template <int kCount, class Number, class Power>
void add(int count, const Number& number, const Power& power, d8* sums) {
  f8 sum[kCount] = {};
  for (int i = 0; i < count; ++i) {
    const auto n = number(i);
    const f8 p = power(i);
    for (int k = 0; k < kCount; ++k) sum[k] += n(k) * p;
  }
  for (int k = 0; k < kCount; ++k) sums[k] += __builtin_convertvector(sum[k], d8);
}

struct AllSums {
  d8 low[kSummed] = {}, high[3] = {}, xi[2] = {}, eta[2] = {}, each[kEach][3] = {};

  void take(Some& s) {
    const auto summed = [&](int i) { return [n = s.summed[i]](int k) { return n[k]; }; };
    const auto shaded = [&](int i) { return [n = s.summed[i]](int k) { return n[k == 0 ? gx_v : gy_v]; }; };
    const auto squared = [&](int i) { return [n = s.summed[i]](int k) { return n[k < 2 ? k : gy_gy]; }; };
    const auto from = [&](int first) {
      return [&s, first](int i) {
        return [n = reinterpret_cast<const float*>(&s.each[i][first])](int k) { return n[k / 3 * 4 + k % 3]; };
      };
    };
    const auto place = [&](int i) { return s.powers[i].low; };
    const auto own = [&](int i) { return s.powers[i].own; };
    add<kSummed>(s.count, summed, place, low);
    add<3>(
        s.count, squared, [&](int i) { return s.powers[i].high; }, high);
    add<2>(
        s.count, shaded, [&](int i) { return s.powers[i].low * s.xi[i]; }, xi);
    add<2>(
        s.count, shaded, [&](int i) { return s.powers[i].low * s.eta[i]; }, eta);
    add<6>(s.count, from(w_one), own, each[w_one]);
    add<9>(s.count, from(w_v), own, each[w_v]);
    add<6>(s.count, from(w_gx), place, each[w_gx]);
    add<6>(s.count, from(w_gx_v), place, each[w_gx_v]);
    s.count = 0;
  }
};

// The sum of a number times X^k Y^m.
double power_sum(const AllSums& s, int which, int k, int m) {
  if (k == 4 || m == 4) return s.low[which][k == 4 ? 6 : 7];
  const int degree = k + m;
  return degree < 3 ? s.low[which][degree * (degree + 1) / 2 + m]
                    : s.high[which == gy_gy ? 2 : which][degree == 3 ? m : 3 + m];
}

// An entry of P or Q: factor * X^k Y^m.
struct Term {
  double factor;
  int k, m;
  double in(const d8& low) const { return factor * low[(k + m) * (k + m + 1) / 2 + m]; }
};
constexpr Term kP[kMotion] = {{1, 1, 0}, {1, 0, 1}, {1, 0, 0}, {}, {}, {}, {-1, 2, 0}, {-1, 1, 1}};
constexpr Term kQ[kMotion] = {{}, {}, {}, {1, 1, 0}, {1, 0, 1}, {1, 0, 0}, {-1, 1, 1}, {-1, 0, 2}};

TileSums together(const AllSums& s) {
  TileSums t;
  t.jn.setZero(), t.nn.setZero(), t.nr.setZero();
  const auto product = [&](const Term& a, const Term& b, int which) {
    const double factor = a.factor * b.factor;
    return factor == 0 ? 0 : factor * power_sum(s, which, a.k + b.k, a.m + b.m);
  };
  for (int i = 0; i < kMotion; ++i) {
    const Term &p = kP[i], &q = kQ[i];
    for (int k = 0; k <= i; ++k)
      t.jj(k, i) = t.jj(i, k) =
          product(p, kP[k], gx_gx) + product(p, kQ[k], gx_gy) + product(q, kP[k], gx_gy) + product(q, kQ[k], gy_gy);
    t.jr(i) = p.in(s.low[gx_r]) + q.in(s.low[gy_r]);
    for (int c = 0; c < 3; ++c) {
      t.jn(i, 2 * c) = p.in(s.each[w_gx_v][c]) + q.in(s.each[w_gy_v][c]);
      t.jn(i, 2 * c + 1) = p.in(s.each[w_gx][c]) + q.in(s.each[w_gy][c]);
    }
    t.jn(i, 6) = p.in(s.xi[0]) + q.in(s.xi[1]), t.jn(i, 7) = p.in(s.eta[0]) + q.in(s.eta[1]);
  }
  for (int c = 0; c < 3; ++c) {
    const int g = 2 * c, o = g + 1;
    const d8 &v = s.each[w_v][c], &vv = s.each[w_v_v][c], &vr = s.each[w_v_r][c];
    t.nn(g, g) = vv[0], t.nn(g, o) = v[0], t.nn(o, o) = s.each[w_one][c][0];
    t.nn(g, 6) = vv[1], t.nn(g, 7) = vv[2], t.nn(o, 6) = v[1], t.nn(o, 7) = v[2];
    t.nn(6, 6) += vv[3], t.nn(6, 7) += vv[4], t.nn(7, 7) += vv[5];
    t.nr[g] = vr[0], t.nr[o] = s.each[w_r][c][0], t.nr[6] += vr[1], t.nr[7] += vr[2];
  }
  t.nn.triangularView<Eigen::StrictlyLower>() = t.nn.transpose();
  return t;
}

}  // namespace

TileSums accumulate(const TileInput& in, const Rect& tile, const LightVector& light) {
  float l[kLight];
  for (int i = 0; i < kLight; ++i) l[i] = static_cast<float>(light[i]);
  const f4 gain{l[0], l[2], l[4], 0}, offset{l[1], l[3], l[5], 0}, channels{1, 1, 1, 0};
  const int64_t stride = in.middle->window().width();
  const float inv = static_cast<float>(1 / in.radius);
  const float half_w = 0.5f * tile.width(), half_h = 0.5f * tile.height();
  Powers column[kSome];
  float xi[kSome];
  for (int i = 0; i < tile.width(); ++i) {
    xi[i] = (i + 0.5f - half_w) / half_w;
    column[i] = of_column((tile.x0 + i + 0.5f - static_cast<float>(in.centre.x())) * inv, xi[i]);
  }
  AllSums sums;
  Some s;
  double count = 0;
  for (int y = tile.y0; y < tile.y1; ++y) {
    const float eta = (y + 0.5f - tile.y0 - half_h) / half_h;
    const Powers row = of_row((y + 0.5f - static_cast<float>(in.centre.y())) * inv, eta);
    const f4 *ref = &in.reference->at(tile.x0, y), *frame = &in.frame->at(tile.x0, y);
    const f4 *middle = &in.middle->at(tile.x0, y), *weight = &in.weight->at(tile.x0, y);
    for (int i = 0; i < tile.width(); ++i) {
      if (!(weight[i][3] > 0)) continue;
      count += weight[i][3];
      const f4 w = weight[i] * channels, v = ref[i], *m = middle + i;
      // Five-point derivative.
      const f4 gx = (splat(8) * (m[1] - m[-1]) - (m[2] - m[-2])) * splat(1 / 12.f);
      const f4 gy = (splat(8) * (m[stride] - m[-stride]) - (m[2 * stride] - m[-2 * stride])) * splat(1 / 12.f);
      const f4 r = frame[i] - ((gain + splat(l[6] * xi[i] + l[7] * eta)) * v + offset);
      const f4 wx = w * gx, wy = w * gy, wv = w * v;
      const f8 g = both(wx, wy);
      const int n = s.count++;
      s.powers[n] = {column[i].low * row.low, column[i].high * row.high, column[i].own * row.own};
      s.xi[n] = xi[i], s.eta[n] = eta;
      _mm256_store_ps(s.summed[n], _mm256_hadd_ps(_mm256_hadd_ps(g * both(gx, gx), g * both(gy, gy)),
                                                  _mm256_hadd_ps(g * both(r, r), g * both(v, v))));
      const f4 each[kEach] = {w, w * r, wv, wv * v, wv * r, wx, wy, wx * v, wy * v};
      std::copy(each, each + kEach, s.each[n]);
      if (s.count == kSome) sums.take(s);
    }
  }
  if (s.count > 0) sums.take(s);
  TileSums t = together(sums);
  t.count = count;
  return t;
}

}  // namespace pw
