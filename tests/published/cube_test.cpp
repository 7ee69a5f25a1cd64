// The cube of the package visp-images-data (ViSP-images/cube; E. Marchand, F. Spindler, F. Chaumette, "ViSP for visual
// servoing", IEEE Robotics and Automation Magazine 12(4), 2005): 80 grey frames of 384x288 in which a camera comes
// nearer to a cube and round it. Twelve white dots lie on its upper face; their centroids are found in every frame by
// themselves and are what the track is held against. The tracker gets the frames and the face's outline.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <opencv2/imgproc.hpp>

#include "bars.h"
#include "base/transform.h"
#include "comp/colour/encoding.h"
#include "track/plane.h"

namespace pw::cube_test {
namespace {

const std::filesystem::path kData = "/usr/share/visp-images-data/ViSP-images/cube";
constexpr int kFirst = 0, kLast = 79;  // The face is largest in the last.

class Cube : public PlaneFrames {
 public:
  int first() const override { return kFirst; }
  int last() const override { return kLast; }
  Picture image(int frame) const override {
    char file[32];
    std::snprintf(file, sizeof file, "image.%04d.pgm", frame);
    std::ifstream in(kData / file, std::ios::binary);  // Binary PGM of 8 bits.
    std::string kind;
    int width = 0, height = 0, white = 0;
    if (!(in >> kind >> width >> height >> white) || kind != "P5" || white != 255) return {};
    in.get();
    Canvas out(Rect{0, 0, width, height}, 1);
    for (int y = 0; y < height; ++y)
      for (int x = 0; x < width; ++x) *out.at(x, y) = float(decode(Encoding::srgb, in.get() / 255.0));
    return std::move(out).finish();
  }
  double shutter_deg() const override { return 0; }
};

// Centroids of bright spots on the dark face, of 6 to 200 pixels, weighted by brightness.
std::vector<Point> dots(const Picture& p) {
  cv::Mat1f grey(p.window().height(), p.window().width());
  for (int y = 0; y < grey.rows; ++y)
    for (int x = 0; x < grey.cols; ++x) grey(y, x) = *p.at(x, y);
  cv::Mat labels, stats, centres;
  const int n = cv::connectedComponentsWithStats(cv::Mat1b(grey > 0.15f), labels, stats, centres, 8);
  std::vector<Point> found;
  for (int i = 1; i < n; ++i) {
    const int area = stats.at<int>(i, cv::CC_STAT_AREA);
    if (area < 6 || area > 200) continue;
    const cv::Rect spot(stats.at<int>(i, cv::CC_STAT_LEFT), stats.at<int>(i, cv::CC_STAT_TOP),
                        stats.at<int>(i, cv::CC_STAT_WIDTH), stats.at<int>(i, cv::CC_STAT_HEIGHT));
    const cv::Rect wide =
        cv::Rect(spot.x - 2, spot.y - 2, spot.width + 4, spot.height + 4) & cv::Rect(0, 0, grey.cols, grey.rows);
    double darkest = 1e9, brightest = 0;
    cv::minMaxLoc(grey(wide), &darkest, &brightest);
    Point sum(0, 0);
    double weight = 0;
    for (int y = wide.y; y < wide.br().y; ++y)
      for (int x = wide.x; x < wide.br().x; ++x) {
        const double w = std::clamp((grey(y, x) - darkest) / (brightest - darkest) - 0.1, 0.0, 1.0);
        sum += w * Point(x + 0.5, y + 0.5), weight += w;
      }
    found.push_back(sum / weight);
  }
  return found;
}

TEST(Cube, ItsFaceIsFollowed) {
  ASSERT_TRUE(std::filesystem::exists(kData)) << "install the package visp-images-data";
  const std::vector<Point> face{{121, 75}, {202, 73.5}, {223, 140.5}, {138, 145.5}};
  const Cube frames;
  const auto track = track_plane(frames, {.reference = kLast, .region = face}, serial());
  ASSERT_TRUE(track) << to_string(track.error());

  std::vector<cv::Point2f> outline;
  for (const Point& p : face) outline.push_back({float(p.x()), float(p.y())});
  std::vector<Point> on_face;
  for (const Point& p : dots(frames.image(kLast)))
    if (cv::pointPolygonTest(outline, {float(p.x()), float(p.y())}, false) > 0) on_face.push_back(p);
  ASSERT_EQ(on_face.size(), 12u);

  double squares = 0, worst = 0;
  int count = 0;
  for (const Pose& pose : track->poses) {
    if (pose.frame == kLast) continue;
    EXPECT_NE(pose.status, TrackStatus::lost) << "frame " << pose.frame << ": " << pose.reason;
    const std::vector<Point> seen = dots(frames.image(pose.frame));
    for (const Point& p : on_face) {
      const Point there = map(pose.frame_from_ref, p);
      double nearest = 1e9;
      for (const Point& q : seen) nearest = std::min(nearest, (q - there).norm());
      ASSERT_LT(nearest, 5) << "frame " << pose.frame;
      squares += nearest * nearest, worst = std::max(worst, nearest), ++count;
    }
  }
  EXPECT_EQ(count, 12 * (kLast - kFirst));
  std::printf("cube: %.3f px over its dots, %.3f px at the worst\n", std::sqrt(squares / count), worst);
  bar("cube.rms_px", std::sqrt(squares / count));
  bar("cube.worst_px", worst);
}

}  // namespace
}  // namespace pw::cube_test
