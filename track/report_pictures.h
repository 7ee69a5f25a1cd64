// The pictures of the page of track/report.h, as HTML.
#pragma once
#include <string>

#include "track/report.h"

namespace pw {

std::string regions_on_frames(const TrackReport& r);
std::string strips_held_still(const TrackReport& r);

}  // namespace pw
