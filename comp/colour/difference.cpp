#include "comp/colour/difference.h"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <limits>
#include <vector>

namespace pw {
namespace {

constexpr int kRadius = 5, kTaps = 2 * kRadius + 1;
using Row = std::vector<double>;

std::array<double, kTaps> window() {
  std::array<double, kTaps> w{};
  double sum = 0;
  for (int i = 0; i < kTaps; ++i) sum += w[i] = std::exp(-0.5 * (i - kRadius) * (i - kRadius) / (1.5 * 1.5));
  for (double& v : w) v /= sum;
  return w;
}

// The values of one channel over the rectangle's row y.
void channel_row(const Picture& p, const Rect& over, int y, int channel, Row& out) {
  std::fill(out.begin(), out.end(), 0);
  const Rect inside = intersect(over, p.window());
  if (y < inside.y0 || y >= inside.y1) return;
  const float* v = p.at(inside.x0, y) + channel;
  for (int x = inside.x0; x < inside.x1; ++x, v += p.channels()) out[x - over.x0] = *v;
}

bool counts(const Picture* matte, int x, int y) {
  return !matte || (matte->window().contains(x, y) && matte->at(x, y)[0] > 0.5f);
}

// Local means of a, b, aa, bb and ab along a row; result i is of the window that starts at i.
constexpr int kMoments = 5;
using Moments = std::array<Row, kMoments>;

void moments_along(const Row& a, const Row& b, const std::array<double, kTaps>& w, Moments& out) {
  const size_t n = a.size() - 2 * kRadius;
  for (Row& r : out) r.assign(n, 0);
  for (int k = 0; k < kTaps; ++k)
    for (size_t i = 0; i < n; ++i) {
      const double va = a[i + k], vb = b[i + k];
      out[0][i] += w[k] * va;
      out[1][i] += w[k] * vb;
      out[2][i] += w[k] * va * va;
      out[3][i] += w[k] * vb * vb;
      out[4][i] += w[k] * va * vb;
    }
}

struct Mean {
  double sum = 0;
  int64_t count = 0;
};

// Sum of the SSIM map of one channel over the windows that count.
Mean ssim_of(const Picture& a, const Picture& b, const Rect& over, int channel, double peak, const Picture* matte) {
  Mean mean;
  if (over.width() < kTaps || over.height() < kTaps) return mean;
  const auto w = window();
  const double c1 = 0.01 * 0.01 * peak * peak, c2 = 0.03 * 0.03 * peak * peak;
  Row va(over.width()), vb(over.width());
  std::array<Moments, kTaps> rows;  // Of the last 11 rows, by row modulo 11.
  const size_t n = va.size() - 2 * kRadius;
  Moments m;
  for (int y = over.y0; y < over.y1; ++y) {
    const int row = y - over.y0;
    channel_row(a, over, y, channel, va);
    channel_row(b, over, y, channel, vb);
    moments_along(va, vb, w, rows[row % kTaps]);
    if (row < 2 * kRadius) continue;
    for (int q = 0; q < kMoments; ++q) {
      m[q].assign(n, 0);
      for (int k = 0; k < kTaps; ++k) {
        const Row& from = rows[(row - 2 * kRadius + k) % kTaps][q];
        for (size_t i = 0; i < n; ++i) m[q][i] += w[k] * from[i];
      }
    }
    for (size_t i = 0; i < n; ++i) {
      if (!counts(matte, over.x0 + kRadius + static_cast<int>(i), y - kRadius)) continue;
      const double ma = m[0][i], mb = m[1][i];
      const double saa = m[2][i] - ma * ma, sbb = m[3][i] - mb * mb, sab = m[4][i] - ma * mb;
      mean.sum += (2 * ma * mb + c1) * (2 * sab + c2) / ((ma * ma + mb * mb + c1) * (saa + sbb + c2));
      ++mean.count;
    }
  }
  return mean;
}

}  // namespace

Result<Difference> difference(const Picture& a, const Picture& b, const Rect& over, double peak, const Picture* matte) {
  const int channels = std::min(a.channels(), 3);
  if (channels != std::min(b.channels(), 3))
    return fail(
        Problem{.what = fmt::format("pictures of {} and {} channels cannot be compared", a.channels(), b.channels()),
                .remedy = "give two of colour or two of one channel"});
  Difference d;
  double squares = 0;
  Row va(over.width()), vb(over.width());
  for (int y = over.y0; y < over.y1; ++y)
    for (int c = 0; c < channels; ++c) {
      channel_row(a, over, y, c, va);
      channel_row(b, over, y, c, vb);
      for (int x = over.x0; x < over.x1; ++x) {
        if (!counts(matte, x, y)) continue;
        const double e = va[x - over.x0] - vb[x - over.x0];
        squares += e * e;
        d.max_abs = std::max(d.max_abs, std::abs(e));
        d.pixels += c == 0;
      }
    }
  if (d.pixels == 0)
    return fail(Problem{.what = matte ? "the matte holds no pixel to compare" : "there is no pixel to compare",
                        .remedy = "check sizes and matte"});
  d.mse = squares / (static_cast<double>(d.pixels) * channels);
  d.psnr = d.mse > 0 ? 10 * std::log10(peak * peak / d.mse) : std::numeric_limits<double>::infinity();
  Mean all;
  for (int c = 0; c < channels; ++c) {
    const Mean one = ssim_of(a, b, over, c, peak, matte);
    all.sum += one.sum;
    all.count += one.count;
  }
  if (all.count > 0) d.ssim = all.sum / static_cast<double>(all.count);
  return d;
}

Picture encoded(const Picture& linear, Encoding e) {
  Canvas out = Canvas::copy(linear, linear.window());
  const size_t width = static_cast<size_t>(out.window().width());
  for (int y = out.window().y0; y < out.window().y1; ++y) {
    float* row = out.row(y);
    if (out.channels() != 4)
      encode(e, row, row, width * out.channels());
    else
      for (size_t x = 0; x < width; ++x) encode(e, row + 4 * x, row + 4 * x, 3);
  }
  return std::move(out).finish();
}

}  // namespace pw
