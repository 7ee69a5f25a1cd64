#include "base/picture.h"

#include <cstring>

#include "base/pool.h"

namespace pw {

Picture Picture::cropped(const Rect& r) const {
  Picture p = *this;
  p.window_ = intersect(window_, r);
  if (p.window_.empty()) {
    p.data_.reset();
    p.stride_ = 0;
  } else {
    p.data_ = std::shared_ptr<const float[]>(data_, at(p.window_.x0, p.window_.y0));
  }
  return p;
}

Picture Picture::moved(int dx, int dy) const {
  Picture p = *this;
  p.window_ = window_.moved(dx, dy);
  return p;
}

Canvas::Canvas(const Rect& window, int channels)
    : window_(window.empty() ? Rect{} : window), channels_(channels), stride_(int64_t{window_.width()} * channels) {
  if (!window_.empty()) data_ = take_buffer(static_cast<size_t>(stride_) * window_.height());
}

Canvas Canvas::clear(const Rect& window, int channels) {
  Canvas c(window, channels);
  if (!c.window_.empty()) std::memset(c.data_.get(), 0, sizeof(float) * c.stride_ * c.window_.height());
  return c;
}

Canvas Canvas::filled(const Rect& window, int channels, const float* value) {
  Canvas c(window, channels);
  const int64_t count = int64_t{c.window_.width()} * c.window_.height();
  float* p = c.data_.get();
  for (int64_t i = 0; i < count; ++i)
    for (int k = 0; k < channels; ++k) *p++ = value[k];
  return c;
}

Canvas Canvas::copy(const Picture& p, const Rect& window) {
  const Rect inside = intersect(p.window(), window);
  Canvas c = inside == window ? Canvas(window, p.channels()) : Canvas::clear(window, p.channels());
  for (int y = inside.y0; y < inside.y1; ++y)
    std::memcpy(c.at(inside.x0, y), p.at(inside.x0, y), sizeof(float) * p.channels() * inside.width());
  return c;
}

Picture Canvas::finish() && {
  Picture p;
  p.window_ = window_;
  p.channels_ = channels_;
  p.stride_ = stride_;
  p.data_ = std::move(data_);
  return p;
}

bool same_bits(const Picture& a, const Picture& b) {
  if (a.window() != b.window() || a.channels() != b.channels()) return false;
  for (int y = a.window().y0; y < a.window().y1; ++y)
    if (std::memcmp(a.row(y), b.row(y), sizeof(float) * a.channels() * a.window().width()) != 0) return false;
  return true;
}

}  // namespace pw
