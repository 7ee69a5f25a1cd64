// The sheet a person takes to the shoot, so that the subject is filmed as the plate was.
#pragma once
#include "apps/command.h"

namespace pw {

// Prints what the shot's camera says: its height, tilt and angle, where the horizon cuts the frame, and for each place
// of --stand, in pixels of that frame, where on the ground it is and how large somebody --tall metres stands there;
// with two places or more, the platform that holds them all with half a metre around. Writes the plate of the camera's
// frame, half transparent, with its ground grid and horizon.
int line_up(const ProbeCommand& c);

}  // namespace pw
