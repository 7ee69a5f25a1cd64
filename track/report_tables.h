// The tables of the page of track/report.h, as HTML.
#pragma once
#include <string>

#include "track/report.h"

namespace pw {

std::string frames_to_look_at(const TrackReport& r);  // All that are not good, with their reasons.
std::string planes_in_rows(const TrackReport& r);
std::string all_numbers(const TrackReport& r);  // A row for every frame, folded away.

}  // namespace pw
