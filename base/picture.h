// A picture: float32, interleaved, 1 to 4 channels, over a window of plate pixels. Colour is scene-linear with Rec.709
// primaries and D65 white, alpha premultiplied (3 channels: opaque; 4: with alpha); a matte has 1 channel, 0 to 1; a
// field has 2 or 3. Outside its window a picture is clear (zero). Values above 1 and colour under zero alpha are legal.
//
// A Canvas is painted by one owner; finish() turns it into a Picture, which never changes again and is cheap to copy.
#pragma once
#include <memory>

#include "base/rect.h"

namespace pw {

class Picture {
 public:
  Picture() = default;  // Empty window, 1 channel.

  const Rect& window() const { return window_; }
  int channels() const { return channels_; }
  bool empty() const { return window_.empty(); }

  // Channels of pixel (window().x0, y); y must lie in the window. Pixels of a row are contiguous.
  const float* row(int y) const { return data_.get() + (y - window_.y0) * stride_; }
  // Channels of pixel (x, y), which must lie in the window.
  const float* at(int x, int y) const { return row(y) + int64_t{x - window_.x0} * channels_; }

  // The part inside `r`, sharing the pixels.
  Picture cropped(const Rect& r) const;
  // The same pixels, `dx`, `dy` further right and down.
  Picture moved(int dx, int dy) const;

 private:
  friend class Canvas;
  Rect window_;
  int channels_ = 1;
  int64_t stride_ = 0;
  std::shared_ptr<const float[]> data_;
};

class Canvas {
 public:
  // Unspecified content. 1 <= channels <= 4. Throws std::bad_alloc.
  Canvas(const Rect& window, int channels);
  static Canvas clear(const Rect& window, int channels);                       // All zero.
  static Canvas filled(const Rect& window, int channels, const float* value);  // `value` has `channels` numbers.
  // A copy of `p` over `window`; clear where p has no pixels.
  static Canvas copy(const Picture& p, const Rect& window);

  const Rect& window() const { return window_; }
  int channels() const { return channels_; }
  float* row(int y) { return data_.get() + (y - window_.y0) * stride_; }
  float* at(int x, int y) { return row(y) + int64_t{x - window_.x0} * channels_; }

  Picture finish() &&;

 private:
  Rect window_;
  int channels_;
  int64_t stride_;
  std::shared_ptr<float[]> data_;
};

// True when both have the same window, channels and bits.
bool same_bits(const Picture& a, const Picture& b);

}  // namespace pw
