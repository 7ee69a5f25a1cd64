#include "comp/media/yuv.h"

#include <algorithm>
#include <cmath>

namespace pw {
namespace {

// code = offset + scale * value, for values 0..1 (luma, R', G', B', alpha) or -0.5..0.5 (differences).
struct Codes {
  float scale, offset;
};

Codes level_codes(Range r, int bits) {
  const float unit = static_cast<float>(1 << (bits - 8));
  return r == Range::narrow ? Codes{219 * unit, 16 * unit} : Codes{static_cast<float>((1 << bits) - 1), 0};
}

Codes difference_codes(Range r, int bits) {
  const float zero = static_cast<float>(1 << (bits - 1));
  return {r == Range::narrow ? 224 * static_cast<float>(1 << (bits - 8)) : static_cast<float>((1 << bits) - 1), zero};
}

unsigned char* row_of(const Component& c, int y) { return c.data + c.stride * y; }

int swapped(int v) { return (v & 0xff) << 8 | v >> 8; }

// Values of a row of samples.
void unpack(const Component& c, int y, int count, Codes codes, float* out) {
  const unsigned char* in = row_of(c, y);
  const float scale = 1 / codes.scale;
  if (c.bits == 8 && c.shift == 0) {
    for (int x = 0; x < count; ++x) out[x] = (static_cast<float>(in[x * c.step]) - codes.offset) * scale;
    return;
  }
  const int mask = (1 << c.bits) - 1;
  if (c.step == 2 && !c.big_endian && c.shift == 0) {
    const auto* v = reinterpret_cast<const uint16_t*>(in);
    for (int x = 0; x < count; ++x) out[x] = (static_cast<float>(v[x] & mask) - codes.offset) * scale;
    return;
  }
  for (int x = 0; x < count; ++x) {
    int v = in[x * c.step] | in[x * c.step + 1] << 8;
    if (c.big_endian) v = swapped(v);
    out[x] = (static_cast<float>(v >> c.shift & mask) - codes.offset) * scale;
  }
}

void pack(const Component& c, int y, int count, Codes codes, const float* in) {
  unsigned char* out = row_of(c, y);
  const float last = static_cast<float>((1 << c.bits) - 1);
  const auto code = [&](float v) {
    const float scaled = v * codes.scale + codes.offset + 0.5f;
    return static_cast<int>(scaled > 0 ? (scaled < last ? scaled : last) : 0.f);  // Also what is not a number.
  };
  if (c.bits == 8 && c.shift == 0) {
    for (int x = 0; x < count; ++x) out[x * c.step] = static_cast<unsigned char>(code(in[x]));
    return;
  }
  for (int x = 0; x < count; ++x) {
    int v = code(in[x]) << c.shift;
    if (c.big_endian) v = swapped(v);
    out[x * c.step] = static_cast<unsigned char>(v);
    out[x * c.step + 1] = static_cast<unsigned char>(v >> 8);
  }
}

int shared(int count, int power) { return (count + (1 << power) - 1) >> power; }

// Place of pixel `at` among the samples of Cb: the sample at or before it, and the weight of the next.
struct Place {
  int first;
  float weight;
};
Place place(int at, int power, double siting, int samples) {
  // With more than two pixels to a sample (4:1:1) those of the pair's middle lie in the middle of all.
  const double offset = siting * ((1 << power) - 1);
  const double p = std::clamp((at - offset) / (1 << power), 0.0, static_cast<double>(samples - 1));
  const int first = std::min(static_cast<int>(p), std::max(0, samples - 2));
  return {first, static_cast<float>(p - first)};
}

}  // namespace

std::string_view name(Matrix m) {
  constexpr std::string_view names[] = {"rec601", "rec709", "rec2020", "smpte240", "fcc", "none"};
  return names[static_cast<int>(m)];
}

LumaWeights luma_weights(Matrix m) {
  switch (m) {
    case Matrix::rec601:
      return {0.299, 0.114};
    case Matrix::rec2020:
      return {0.2627, 0.0593};
    case Matrix::smpte240:
      return {0.212, 0.087};
    case Matrix::fcc:
      return {0.30, 0.11};
    case Matrix::rec709:
    case Matrix::none:
      break;
  }
  return {0.2126, 0.0722};
}

std::string_view name(Range r) { return r == Range::narrow ? "narrow" : "full"; }

std::string_view name(const Siting& s) {
  if (s.y == 0) return s.x == 0 ? "top-left" : "top";
  if (s.y == 1) return s.x == 0 ? "bottom-left" : "bottom";
  return s.x == 0 ? "left" : "centre";
}

RowsFromPlanes::RowsFromPlanes(const Planes& planes, const YuvRules& rules) : planes_(planes), rules_(rules) {
  const size_t width = planes.width;
  luma_.resize(width), cb_.resize(width), cr_.resize(width);
  if (planes.share_x == 0) return;
  const int samples = shared(planes.width, planes.share_x);
  above_.resize(samples + 1), below_.resize(samples + 1);
  for (int x = 0; x < planes.width; ++x) {
    const Place p = place(x, planes.share_x, rules.siting.x, samples);
    from_.push_back(p.first), weight_.push_back(p.weight);
  }
}

void RowsFromPlanes::differences(const Component& c, int y, std::vector<float>& full) {
  const Codes codes = difference_codes(rules_.range, c.bits);
  const bool narrower = planes_.share_x > 0;
  const int samples = shared(planes_.width, planes_.share_x);
  if (!narrower) above_.resize(samples), below_.resize(samples);
  const Place rows = place(y, planes_.share_y, rules_.siting.y, shared(planes_.height, planes_.share_y));
  std::vector<float>& row = narrower ? above_ : full;
  unpack(c, rows.first, samples, codes, row.data());
  if (rows.weight > 0) {
    unpack(c, rows.first + 1, samples, codes, below_.data());
    for (int i = 0; i < samples; ++i) row[i] += rows.weight * (below_[i] - row[i]);
  }
  if (!narrower) return;
  row[samples] = row[samples - 1];  // Stands behind the last pair with a weight of 0.
  for (int x = 0; x < planes_.width; ++x) {
    const float left = row[from_[x]];
    full[x] = left + weight_[x] * (row[from_[x] + 1] - left);
  }
}

void RowsFromPlanes::row(int y, float* out) {
  const int width = planes_.width, channels = planes_.channels();
  unpack(planes_.colour[0], y, width, level_codes(rules_.range, planes_.colour[0].bits), luma_.data());
  if (planes_.colours == 1) {
    for (int x = 0; x < width; ++x)
      for (int c = 0; c < std::min(channels, 3); ++c) out[x * channels + c] = luma_[x];
  } else if (rules_.matrix == Matrix::none) {
    const Codes codes = level_codes(rules_.range, planes_.colour[0].bits);
    unpack(planes_.colour[1], y, width, codes, cb_.data());
    unpack(planes_.colour[2], y, width, codes, cr_.data());
    for (int x = 0; x < width; ++x) {
      out[x * channels] = luma_[x], out[x * channels + 1] = cb_[x], out[x * channels + 2] = cr_[x];
    }
  } else {
    differences(planes_.colour[1], y, cb_);
    differences(planes_.colour[2], y, cr_);
    const auto [red, blue] = luma_weights(rules_.matrix);
    const double green = 1 - red - blue;
    const float r_cr = static_cast<float>(2 * (1 - red)), b_cb = static_cast<float>(2 * (1 - blue));
    const float g_cr = static_cast<float>(2 * (1 - red) * red / green);
    const float g_cb = static_cast<float>(2 * (1 - blue) * blue / green);
    for (int x = 0; x < width; ++x) {
      const float luma = luma_[x], cb = cb_[x], cr = cr_[x];
      out[x * channels] = luma + r_cr * cr;
      out[x * channels + 1] = luma - (g_cb * cb + g_cr * cr);
      out[x * channels + 2] = luma + b_cb * cb;
    }
  }
  if (!planes_.alpha.data) return;
  unpack(planes_.alpha, y, width, level_codes(Range::full, planes_.alpha.bits), luma_.data());
  for (int x = 0; x < width; ++x) out[x * channels + 3] = luma_[x];
}

PlanesFromRows::PlanesFromRows(const Planes& planes, const YuvRules& rules) : planes_(planes), rules_(rules) {
  const size_t width = planes.width;
  luma_.resize(width), cb_.resize(width), cr_.resize(width), alpha_.resize(width);
  const size_t samples = shared(planes.width, planes.share_x);
  cb_sum_.assign(samples, 0.f), cr_sum_.assign(samples, 0.f);
}

namespace {

// One row of differences onto the samples that are shared along the row.
float gathered(const std::vector<float>& v, int sample, int power, double siting) {
  const int last = static_cast<int>(v.size()) - 1;
  const auto at = [&](int x) { return v[std::clamp(x, 0, last)]; };
  const int x = sample << power;
  if (power == 0) return at(x);
  if (power == 1 && siting == 0) return 0.25f * at(x - 1) + 0.5f * at(x) + 0.25f * at(x + 1);
  float sum = 0;
  for (int i = 0; i < 1 << power; ++i) sum += at(x + i);
  return sum / static_cast<float>(1 << power);
}

// Nearest whole code, as a value.
float on_code(float v, Codes c) { return (std::floor(v * c.scale + c.offset + 0.5f) - c.offset) / c.scale; }

}  // namespace

void PlanesFromRows::round_together(const float* in, int channels) {
  const auto [red, blue] = luma_weights(rules_.matrix);
  const float kr = static_cast<float>(red), kb = static_cast<float>(blue);
  const float per_kg = static_cast<float>(1 / (1 - red - blue));
  const float r_cr = static_cast<float>(2 * (1 - red)), b_cb = static_cast<float>(2 * (1 - blue));
  const Codes levels = level_codes(rules_.range, planes_.colour[0].bits);
  const Codes codes = difference_codes(rules_.range, planes_.colour[1].bits);
  for (int x = 0; x < planes_.width; ++x, in += channels) {
    const float r = in[0], g = in[1], b = in[2];
    // How far the colour is off that comes back.
    const auto off = [&](float luma, float cb, float cr) {
      const float r_back = luma + r_cr * cr, b_back = luma + b_cb * cb;
      const float g_back = (luma - kr * r_back - kb * b_back) * per_kg;
      return std::max({std::abs(r_back - r), std::abs(g_back - g), std::abs(b_back - b)});
    };
    const float below = std::floor(luma_[x] * levels.scale + levels.offset);
    float least = off(on_code(luma_[x], levels), on_code(cb_[x], codes), on_code(cr_[x], codes));
    if (!(least * levels.scale > 1)) continue;
    for (const float code : {below, below + 1}) {
      const float luma = (code - levels.offset) / levels.scale;
      const float cb = on_code((b - luma) / b_cb, codes), cr = on_code((r - luma) / r_cr, codes);
      if (const float o = off(luma, cb, cr); o < least) least = o, luma_[x] = luma, cb_[x] = cb, cr_[x] = cr;
    }
  }
}

void PlanesFromRows::row(int y, const float* in, int channels) {
  const int width = planes_.width, green_at = channels == 1 ? 0 : 1, blue_at = channels == 1 ? 0 : 2;
  const Codes levels = level_codes(rules_.range, planes_.colour[0].bits);
  if (planes_.alpha.data) {
    for (int x = 0; x < width; ++x) alpha_[x] = channels == 4 ? in[x * channels + 3] : 1.f;
    pack(planes_.alpha, y, width, level_codes(Range::full, planes_.alpha.bits), alpha_.data());
  }
  if (rules_.matrix == Matrix::none) {
    for (int x = 0; x < width; ++x) {
      luma_[x] = in[x * channels], cb_[x] = in[x * channels + green_at], cr_[x] = in[x * channels + blue_at];
    }
    const std::vector<float>* rows[] = {&luma_, &cb_, &cr_};
    for (int c = 0; c < 3; ++c) pack(planes_.colour[c], y, width, levels, rows[c]->data());
    return;
  }
  const auto [red, blue] = luma_weights(rules_.matrix);
  const float kr = static_cast<float>(red), kb = static_cast<float>(blue), kg = static_cast<float>(1 - red - blue);
  const float to_cb = static_cast<float>(0.5 / (1 - blue)), to_cr = static_cast<float>(0.5 / (1 - red));
  for (int x = 0; x < width; ++x) {
    const float r = in[x * channels], g = in[x * channels + green_at], b = in[x * channels + blue_at];
    const float luma = kr * r + kg * g + kb * b;
    luma_[x] = luma, cb_[x] = (b - luma) * to_cb, cr_[x] = (r - luma) * to_cr;
  }
  if (planes_.share_x == 0 && planes_.share_y == 0 && planes_.colours == 3 && channels >= 3)
    round_together(in, channels);
  pack(planes_.colour[0], y, width, levels, luma_.data());
  if (planes_.colours == 1) return;
  const int samples = static_cast<int>(cb_sum_.size()), rows = 1 << planes_.share_y, within = y & (rows - 1);
  const float share = 1 / static_cast<float>(std::min(rows, planes_.height - (y - within)));
  for (int i = 0; i < samples; ++i) {
    const float cb = gathered(cb_, i, planes_.share_x, rules_.siting.x) * share;
    const float cr = gathered(cr_, i, planes_.share_x, rules_.siting.x) * share;
    cb_sum_[i] = within == 0 ? cb : cb_sum_[i] + cb;
    cr_sum_[i] = within == 0 ? cr : cr_sum_[i] + cr;
  }
  if (within + 1 < rows && y + 1 < planes_.height) return;
  const Codes codes = difference_codes(rules_.range, planes_.colour[1].bits);
  pack(planes_.colour[1], y >> planes_.share_y, samples, codes, cb_sum_.data());
  pack(planes_.colour[2], y >> planes_.share_y, samples, codes, cr_sum_.data());
}

}  // namespace pw
