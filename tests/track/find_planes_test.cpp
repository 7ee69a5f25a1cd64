#include "track/find_planes.h"

#include <gtest/gtest.h>

#include "tests/track/drawn.h"
#include "track/score.h"

namespace pw::find_planes_test {

using drawn::Scene;

// Frames that are drawn once, however often they are asked for; `change` is done to each.
struct Kept final : PlaneFrames {
  std::vector<Picture> pictures, ignored;
  int from;
  double shutter;
  explicit Kept(
      const Scene& s, const std::function<Picture(int, Picture)>& change = [](int, Picture p) { return p; })
      : from(s.from), shutter(s.shutter) {
    for (int f = s.from; f <= s.to; ++f) pictures.push_back(change(f, s.image(f))), ignored.push_back(s.ignore(f));
  }
  int first() const override { return from; }
  int last() const override { return from + int(pictures.size()) - 1; }
  Picture image(int f) const override { return pictures[f - from]; }
  Picture ignore(int f) const override { return ignored[f - from]; }
  double shutter_deg() const override { return shutter; }
};

std::vector<FoundPlane> found(const PlaneFrames& frames, const FindOptions& options = {},
                              const Runner& runner = serial()) {
  const auto planes = find_planes(frames, options, runner);
  EXPECT_TRUE(planes) << (planes ? "" : to_string(planes.error()));
  return planes ? *planes : std::vector<FoundPlane>();
}

// One plane over the whole picture.
Scene handheld() {
  Scene s;
  s.fine = 1, s.to = 9, s.grain = 0.01, s.rounded = true;
  s.frame_from_plane = [](double t) { return drawn::handheld(0.7 * (t - 1)); };
  return s;
}

constexpr double kBorder = 160;  // Column of the picture.

Matrix3 right_plane(double t) {
  Matrix3 m = Matrix3::Identity();
  m(0, 2) = 3 - 1.6 * t, m(1, 2) = 1.1 * t, m(1, 0) = 0.004 * t, m(2, 0) = 4e-5 * t;
  return m;
}

// Left and right of the border two planes that move differently.
Scene two_planes() {
  Scene s = handheld();
  s.width = 320, s.height = 176;
  s.cover = [](double t, double x, double y, float* rgb) {
    if (x < kBorder) return false;
    const Point p = map(inverted(right_plane(t)), {x, y});
    drawn::texture(p.x() + 3000, p.y() - 700, rgb);
    return true;
  };
  return s;
}

TrackScore tracked(const PlaneFrames& frames, int reference, const std::vector<Point>& region,
                   const std::function<Matrix3(int)>& frame_from_plane) {
  const auto m = track_plane(frames, {.reference = reference, .region = region}, serial());
  EXPECT_TRUE(m) << (m ? "" : to_string(m.error()));
  if (!m) return {};
  Motion truth{m->width, m->height, reference, region, {}};
  for (int f = frames.first(); f <= frames.last(); ++f)
    truth.poses.push_back({f, normalised(frame_from_plane(f) * inverted(frame_from_plane(reference)))});
  return score(*m, truth);
}

TEST(FindPlanes, KeepsTwoPlanesApart) {
  const Scene s = two_planes();
  const Kept frames(s);
  const auto planes = found(frames);
  ASSERT_EQ(planes.size(), 2u);
  bool left = false, right = false;
  for (const FoundPlane& p : planes) {
    Point middle(0, 0);
    for (const Point& c : p.region) middle += c / 4;
    const bool is_left = middle.x() < kBorder;
    (is_left ? left : right) = true;
    // Half a square of the grid that paths are spread over.
    for (const Point& c : p.region) EXPECT_TRUE(is_left ? c.x() < kBorder + 7 : c.x() > kBorder - 7) << c.transpose();
    EXPECT_GT(p.area_px, 0.3 * 160 * 176);
    const TrackScore r =
        tracked(frames, p.reference, p.region, [&](int f) { return is_left ? s.frame_from_plane(f) : right_plane(f); });
    EXPECT_EQ(r.lost, 0);
    EXPECT_LT(r.worst_px, 0.3);
    // What was foretold is about what comes of it.
    EXPECT_LT(r.rms_px, 4 * p.sigma_px);
    EXPECT_GT(r.rms_px, 0.1 * p.sigma_px);
  }
  EXPECT_TRUE(left && right);
}

TEST(FindPlanes, SameWithAnyRunner) {
  const Kept frames(two_planes());
  const auto a = found(frames), b = found(frames, {}, *shuffled(3));
  ASSERT_EQ(a.size(), b.size());
  for (size_t i = 0; i < a.size(); ++i) {
    EXPECT_EQ(a[i].reference, b[i].reference);
    EXPECT_EQ(a[i].region, b[i].region);
    EXPECT_EQ(a[i].sigma_px, b[i].sigma_px);
    EXPECT_EQ(a[i].reason, b[i].reason);
  }
}

TEST(FindPlanes, FlatAndNoisyPicturesHaveNone) {
  for (double grain : {0.0, 0.01, 0.03}) {
    Scene s = handheld();
    s.grain = grain;
    s.paint = [](double, double, float* rgb) { rgb[0] = rgb[1] = rgb[2] = 0.2f; };
    EXPECT_EQ(found(Kept(s)).size(), 0u) << grain;
  }
}

TEST(FindPlanes, LeavesOutWhatIsFlat) {
  Scene s = handheld();
  s.cover = [](double, double x, double, float* rgb) {
    rgb[0] = rgb[1] = rgb[2] = 0.2f;
    return x < 90;
  };
  const auto planes = found(Kept(s));
  ASSERT_EQ(planes.size(), 1u);
  for (const Point& c : planes[0].region) EXPECT_GT(c.x(), 90 - 14);
}

TEST(FindPlanes, NoRegionOnIgnoredPixels) {
  Scene s = handheld();
  s.ignored = [](int f, double x, double y) { return std::hypot(x - 70 - 3 * f, y - 80) < 22; };
  const auto planes = found(Kept(s));
  ASSERT_GE(planes.size(), 1u);
  for (const FoundPlane& p : planes) {
    // No ignored pixel's centre is inside: the shape is convex and runs clockwise.
    for (int y = 0; y < s.height; ++y)
      for (int x = 0; x < s.width; ++x) {
        if (!s.ignored(p.reference, x + 0.5, y + 0.5)) continue;
        bool inside = true;
        for (size_t i = 0; i < 4; ++i) {
          const Point side = p.region[(i + 1) % 4] - p.region[i], to = Point(x + 0.5, y + 0.5) - p.region[i];
          inside = inside && side.x() * to.y() - side.y() * to.x() > 0;
        }
        ASSERT_FALSE(inside) << x << " " << y;
      }
  }
}

TEST(FindPlanes, LooksWhereItIsTold) {
  const Scene s = two_planes();
  const auto planes = found(Kept(s), {.look = drawn::box(175, 20, 300, 150), .most = 1});
  ASSERT_EQ(planes.size(), 1u);
  const Matrix3 first_from_ref = normalised(right_plane(1) * inverted(right_plane(planes[0].reference)));
  for (const Point& c : planes[0].region) {
    const Point at = map(first_from_ref, c);
    EXPECT_GT(at.x(), 175 - 14);
    EXPECT_LT(at.x(), 300 + 14);
  }
}

// Out of focus on the first two frames.
Picture blurred(const Picture& p, int radius) {
  Canvas c(p.window(), p.channels());
  const Rect w = p.window();
  for (int y = 0; y < w.y1; ++y)
    for (int x = 0; x < w.x1; ++x)
      for (int k = 0; k < p.channels(); ++k) {
        double sum = 0;
        int count = 0;
        for (int j = std::max(0, y - radius); j <= std::min(w.y1 - 1, y + radius); ++j)
          for (int i = std::max(0, x - radius); i <= std::min(w.x1 - 1, x + radius); ++i, ++count) sum += p.at(i, j)[k];
        c.at(x, y)[k] = float(sum / count);
      }
  return std::move(c).finish();
}

// Grain comes after the lens.
Picture grained(const Picture& p, int frame) {
  Canvas c(p.window(), 3);
  for (int y = 0; y < p.window().y1; ++y)
    for (int x = 0; x < p.window().x1; ++x) {
      const RandomBits b = random_bits(5, frame, x, y);
      const float noise[] = {gauss(b[0], b[1])[0], gauss(b[0], b[1])[1], gauss(b[2], b[3])[0]};
      for (int k = 0; k < 3; ++k)
        c.at(x, y)[k] = float(drawn::decode(std::max(0.0, drawn::encode(p.at(x, y)[k]) + 0.01 * noise[k])));
    }
  return std::move(c).finish();
}

TEST(FindPlanes, ChoosesBetterThanABlurredFirstFrame) {
  Scene s = handheld();
  s.grain = 0, s.rounded = false;
  const Kept frames(s, [](int f, const Picture& p) { return grained(f <= 2 ? blurred(p, 5) : p, f); });
  const auto planes = found(frames);
  ASSERT_GE(planes.size(), 1u);
  EXPECT_GT(planes[0].reference, 2);
  EXPECT_NE(planes[0].reason.find("less sharp"), std::string::npos) << planes[0].reason;
  const auto of_plane = [&](int f) { return s.frame_from_plane(f); };
  const TrackScore chosen = tracked(frames, planes[0].reference, planes[0].region, of_plane);
  const TrackScore first = tracked(frames, 1, drawn::box(14, 14, 186, 146), of_plane);
  const auto exact = [](const TrackScore& s) {
    return std::count_if(s.frames.begin(), s.frames.end(), [](const FrameScore& f) { return f.rms_px < 0.05; });
  };
  EXPECT_GE(exact(chosen), 6);  // All but the two blurred ones.
  EXPECT_LE(exact(first), 1);
}

TEST(FindPlanes, ChoosesBetterThanAHalfHiddenFirstFrame) {
  Scene s = handheld();
  s.cover = [](double t, double x, double y, float* rgb) {
    if (t > 3.5 || x < 70) return false;
    drawn::texture(3 * (x - 11 * t) + 700, 2 * y - 300, rgb);
    return true;
  };
  const Kept frames(s);
  const auto planes = found(frames);
  ASSERT_GE(planes.size(), 1u);
  const auto of_plane = [&](int f) { return s.frame_from_plane(f); };
  const TrackScore chosen = tracked(frames, planes[0].reference, planes[0].region, of_plane);
  const TrackScore first = tracked(frames, 1, drawn::box(14, 14, 186, 146), of_plane);
  EXPECT_EQ(chosen.lost, 0);
  EXPECT_LT(chosen.worst_px, 0.05);
  EXPECT_TRUE(first.lost > 0 || first.rms_px > 3 * chosen.rms_px) << chosen.rms_px << " " << first.rms_px;
}

TEST(FindPlanes, StopsAndSaysWhatCannotBeRead) {
  const Kept frames(handheld());
  int asked = 0;
  const auto stopped = find_planes(frames, {}, serial(), [&](int done, int total) {
    EXPECT_LE(done, total);
    return ++asked < 12;
  });
  EXPECT_FALSE(stopped);
  EXPECT_EQ(asked, 12);
  Kept unread = frames;
  for (Picture& p : unread.pictures) p = {};
  const auto none = find_planes(unread, {}, serial());
  ASSERT_FALSE(none);
  EXPECT_EQ(none.error().front().what, "no frame could be read");
}

}  // namespace pw::find_planes_test
