// The ground before a camera as a picture: what shows on a monitor how a second camera must stand.
#pragma once
#include "base/camera.h"
#include "base/picture.h"

namespace pw {

// Lines of one pixel over the camera's picture, premultiplied, 4 channels, linear light: every metre on the ground to
// the right and ahead from below the camera (white; each fifth stronger; those of a direction fade where they come
// closer together than 6 pixels) and the horizon (amber, two pixels). Clear elsewhere.
Picture ground_grid(const Camera& camera);

}  // namespace pw
