#include "comp/colour/layer.h"

#include <immintrin.h>

#include <cstring>
#include <vector>

namespace pw {
namespace {

bool opaque_stays_opaque(PorterDuff op) {
  return op == PorterDuff::over || op == PorterDuff::destination || op == PorterDuff::destination_over ||
         op == PorterDuff::atop || op == PorterDuff::plus;
}

// Rows of a picture as RGBA over [x0, x1), clear outside its window; straight from the picture where it is like that.
class RgbaRows {
 public:
  RgbaRows(const Picture& p, const Rect& rect) : p_(p), rect_(rect), inside_(intersect(p.window(), rect)) {
    if (p.channels() != 4 || inside_ != rect) row_.resize(static_cast<size_t>(rect.width()) * 4);
  }
  const float* row(int y) {
    if (row_.empty()) return p_.at(rect_.x0, y);
    std::memset(row_.data(), 0, row_.size() * sizeof(float));
    if (y < inside_.y0 || y >= inside_.y1) return row_.data();
    const float* from = p_.at(inside_.x0, y);
    float* to = row_.data() + 4 * static_cast<size_t>(inside_.x0 - rect_.x0);
    const int n = inside_.width(), channels = p_.channels();
    if (channels == 4) {
      std::memcpy(to, from, sizeof(float) * 4 * n);
    } else {
      for (int i = 0; i < n; ++i, to += 4, from += channels) {
        to[0] = from[0];
        to[1] = channels == 1 ? from[0] : from[1];
        to[2] = channels == 1 ? from[0] : channels == 2 ? 0 : from[2];
        to[3] = 1;
      }
    }
    return row_.data();
  }

 private:
  const Picture& p_;
  Rect rect_, inside_;
  std::vector<float> row_;
};

// Two pixels at a time.
class TwoPixels {
 public:
  TwoPixels(const LayerOptions& o)
      : a0_(_mm256_set1_ps(shares(o.op).a0)),
        a1_(_mm256_set1_ps(shares(o.op).a1)),
        b0_(_mm256_set1_ps(shares(o.op).b0)),
        b1_(_mm256_set1_ps(shares(o.op).b1)),
        plus_(o.op == PorterDuff::plus) {}

  // Nothing is added to nothing, and what has no share is left out, so that bits survive.
  __m256 result(__m256 back, __m256 front) const {
    const __m256 zero = _mm256_setzero_ps();
    const __m256 alpha_b = _mm256_permute_ps(back, 0xFF), alpha_s = _mm256_permute_ps(front, 0xFF);
    const __m256 fa = _mm256_add_ps(a0_, _mm256_mul_ps(a1_, alpha_b));
    const __m256 fb = _mm256_add_ps(b0_, _mm256_mul_ps(b1_, alpha_s));
    const __m256 s = _mm256_mul_ps(fa, front), b = _mm256_mul_ps(fb, back);
    __m256 r = _mm256_add_ps(s, b);
    r = _mm256_blendv_ps(r, b, _mm256_cmp_ps(s, zero, _CMP_EQ_OQ));
    r = _mm256_blendv_ps(r, s, _mm256_cmp_ps(fb, zero, _CMP_EQ_OQ));
    if (plus_) r = _mm256_blend_ps(r, _mm256_min_ps(r, _mm256_set1_ps(1)), 0x88);
    return r;
  }
  static __m256 partly(__m256 back, __m256 result, __m256 k) {
    __m256 r = _mm256_add_ps(back, _mm256_mul_ps(k, _mm256_sub_ps(result, back)));
    r = _mm256_blendv_ps(r, result, _mm256_cmp_ps(k, _mm256_set1_ps(1), _CMP_EQ_OQ));
    return _mm256_blendv_ps(r, back, _mm256_cmp_ps(k, _mm256_setzero_ps(), _CMP_EQ_OQ));
  }

 private:
  __m256 a0_, a1_, b0_, b1_;
  bool plus_;
};

// `k`: how far the layer acts, for each pixel; null: fully.
void composite_row(const TwoPixels& two, const float* back, const float* front, const float* k, float* out, int count) {
  int i = 0;
  for (; i + 2 <= count; i += 2) {
    const __m256 b = _mm256_loadu_ps(back + 4 * i);
    __m256 r = two.result(b, _mm256_loadu_ps(front + 4 * i));
    if (k) r = TwoPixels::partly(b, r, _mm256_set_m128(_mm_set1_ps(k[i + 1]), _mm_set1_ps(k[i])));
    _mm256_storeu_ps(out + 4 * i, r);
  }
  if (i == count) return;
  const __m256 b = _mm256_castps128_ps256(_mm_loadu_ps(back + 4 * i));
  __m256 r = two.result(b, _mm256_castps128_ps256(_mm_loadu_ps(front + 4 * i)));
  if (k) r = TwoPixels::partly(b, r, _mm256_set1_ps(k[i]));
  _mm_storeu_ps(out + 4 * i, _mm256_castps256_ps128(r));
}

}  // namespace

Picture layer(const Picture& back, const Picture& front, const Picture* mask, const LayerOptions& options,
              const Rect& rect) {
  const int channels = back.channels() < 4 && opaque_stays_opaque(options.op) ? 3 : 4;
  Canvas out(rect, channels);
  if (rect.empty()) return std::move(out).finish();
  const int width = rect.width();
  const float opacity = static_cast<float>(options.opacity);
  const TwoPixels two(options);
  RgbaRows backs(back, rect), fronts(front, rect);
  std::vector<float> mixed(options.blend == BlendMode::normal ? 0 : size_t{4} * width);
  std::vector<float> result(channels == 4 ? 0 : size_t{4} * width);
  std::vector<float> k(mask || opacity != 1 ? width : 0, opacity);
  const Rect masked = mask ? intersect(mask->window(), rect) : rect;

  for (int y = rect.y0; y < rect.y1; ++y) {
    const float* b = backs.row(y);
    const float* f = fronts.row(y);
    if (!mixed.empty()) {
      blend_row(options.blend, b, f, mixed.data(), width);
      f = mixed.data();
    }
    if (mask) {
      std::fill(k.begin(), k.end(), 0.f);
      if (y >= masked.y0 && y < masked.y1) {
        const float* m = mask->at(masked.x0, y);
        for (int i = 0; i < masked.width(); ++i) k[masked.x0 - rect.x0 + i] = m[i * mask->channels()] * opacity;
      }
    }
    float* to = channels == 4 ? out.row(y) : result.data();
    composite_row(two, b, f, k.empty() ? nullptr : k.data(), to, width);
    if (channels == 3)
      for (int i = 0; i < width; ++i) std::memcpy(out.row(y) + 3 * i, to + 4 * i, 3 * sizeof(float));
  }
  return std::move(out).finish();
}

}  // namespace pw
