// From pictures without alpha to pictures with it.
#pragma once
#include "base/picture.h"

namespace pw {

// Four channels over the same window, so that what a picture does not cover can be clear: alpha is 1 where there was
// none. One channel is grey.
Picture with_alpha(const Picture& p);

}  // namespace pw
