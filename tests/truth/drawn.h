// What the stage has drawn, as a tracker is given it. Problems are thrown: here they are the test's own.
#pragma once
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>
#include <vector>

#include "comp/media/sequence.h"
#include "track/plane.h"
#include "track/track_file.h"

namespace pw {

template <class T>
T must(Result<T> result) {
  if (!result) throw std::runtime_error(to_string(result.error()));
  return *result;
}

inline Motion drawn_truth(const std::string& folder) {
  const std::string path = folder + "/truth.json";
  std::ifstream in(path);
  if (!in) throw std::runtime_error(path + " cannot be read; the stage draws it: stage planes FOLDER");
  const std::string text((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
  return must(parse_truth(text, path));
}

inline Picture drawn_frame(const std::string& pattern, int frame, const ReadOptions& options = {}) {
  return must(read_still(must(parse_pattern(pattern)).file(frame), options)).picture;
}

class DrawnFrames final : public PlaneFrames {
 public:
  DrawnFrames(std::string folder, int last, double shutter_deg)
      : folder_(std::move(folder)), last_(last), shutter_deg_(shutter_deg) {}
  int first() const override { return 1; }
  int last() const override { return last_; }
  double shutter_deg() const override { return shutter_deg_; }
  Picture image(int frame) const override { return drawn_frame(folder_ + "/f.####.png", frame); }

 private:
  std::string folder_;
  int last_;
  double shutter_deg_;
};

// Frames beforehand, so that the time is the tracker's.
class Decoded final : public PlaneFrames {
 public:
  explicit Decoded(const PlaneFrames& from) : Decoded({}, from.first(), from.shutter_deg()) {
    for (int f = from.first(); f <= from.last(); ++f) frames_.push_back(from.image(f));
  }
  Decoded(std::vector<Picture> frames, int first, double shutter_deg)
      : frames_(std::move(frames)), first_(first), shutter_deg_(shutter_deg) {}
  int first() const override { return first_; }
  int last() const override { return first_ + int(frames_.size()) - 1; }
  double shutter_deg() const override { return shutter_deg_; }
  Picture image(int frame) const override { return frames_[frame - first_]; }

 private:
  std::vector<Picture> frames_;
  int first_;
  double shutter_deg_;
};

}  // namespace pw
