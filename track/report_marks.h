// How tracks and statuses are marked all over the page of track/report.h, and how it leads to its pictures.
#pragma once
#include <array>
#include <string>

#include "track/plot.h"
#include "track/report.h"

namespace pw {

inline constexpr std::array kStatuses{TrackStatus::good, TrackStatus::weak, TrackStatus::hidden, TrackStatus::outside,
                                      TrackStatus::lost};

// Class of a track's lines: a colour and dashes.
std::string track_style(size_t track);

// SVG patterns "fill-good", "fill-weak", ...: statuses are told apart without colour.
std::string status_patterns();

std::string line_sample(size_t track);  // A short piece of a track's line.
std::string legend_of_statuses();
std::string legend_of_tracks(const TrackReport& r);

// The id of a frame's picture in a track's strip; the frame's number, leading there where there is such a picture.
std::string held_id(size_t track, int frame);
std::string link_to(const TrackReport& r, size_t track, int frame);

// From the first to the last frame of all tracks.
FrameAxis frames_of(const TrackReport& r);

}  // namespace pw
