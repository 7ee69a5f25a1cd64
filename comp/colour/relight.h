// A picture in another frame's light.
#pragma once
#include "base/light.h"
#include "base/picture.h"

namespace pw {

// Each channel times 2^(amount * stops), the frame's field at `scale` of the full size, over `rect`; alpha stays. A
// frame the light does not have leaves the picture's bits. 3 or 4 channels; 1 channel is taken for green.
Picture relit(const Picture& picture, const Light& light, int frame, double amount, double scale, const Rect& rect);

}  // namespace pw
