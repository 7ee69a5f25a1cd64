// One picture laid on another.
#pragma once
#include "base/picture.h"
#include "comp/colour/blend.h"

namespace pw {

struct LayerOptions {
  PorterDuff op = PorterDuff::over;
  BlendMode blend = BlendMode::normal;
  double opacity = 1;  // 0 to 1.
};

// `front` on `back` over `rect`: scene-linear, premultiplied; 4 channels, 3 (opaque in their window) or 1 (grey,
// opaque). Blend, then operator, as W3C Compositing and Blending Level 1 has it, on linear values. Colour above 1
// survives; alpha is held to 1 where plus would exceed it.
//
// The layer acts as far as mask * opacity lets it: back + mask * opacity * (result - back). For over, plus, xor, atop,
// destination-over and destination-out that is W3C's mask and opacity; the others would wipe out what lies outside of
// the mask, and do not here. `mask` has 1 channel; null: 1 everywhere; outside of its window it is 0.
//
// Exact: where mask * opacity is 0, or over meets an empty front, the back's bits come back; where over meets alpha 1
// under mask * opacity 1, the front's.
//
// The result has 4 channels, or 3 when the back has no alpha and the operator leaves opaque what is opaque.
Picture layer(const Picture& back, const Picture& front, const Picture* mask, const LayerOptions& options,
              const Rect& rect);

}  // namespace pw
