// How well planes were followed, as one page of HTML (HTML5, well-formed as XML too) with all its pictures inside: no
// script, nothing from the network. First the frames a person has to look at, then plots, then pictures.
#pragma once
#include <string>
#include <vector>

#include "base/motion.h"

namespace pw {

// A picture file's bytes (JPEG), or none where there is no picture.
struct ReportPicture {
  std::string jpeg;
  int width = 0, height = 0;  // Pixels.
};

// What the region looks like when it is held still: the frame brought back to the reference by the track. A track that
// is right gives the same picture on every frame.
struct HeldStill {
  int frame = 0;
  ReportPicture picture;
  ReportPicture difference;  // From the reference, enlarged; mid-grey where both are alike.
};

struct ReportTrack {
  std::string name;
  std::string image;  // What it was measured on.
  Motion motion;
  std::vector<HeldStill> held;  // Ascending frames.
};

// One frame of an image, on which the page draws the regions of all tracks that were measured on it.
struct ReportView {
  std::string image;
  int frame = 0;
  ReportPicture picture;
};

struct TrackReport {
  std::string shot;  // Its name, as the person knows it.
  std::vector<ReportTrack> tracks;
  std::vector<ReportView> views;
  double difference_gain = 1;  // How much the differences are enlarged, in encoded code values.
};

// The page. Each track has one frame or more; every frame from the first to the last takes a little of the page.
std::string report_page(const TrackReport& report);

}  // namespace pw
