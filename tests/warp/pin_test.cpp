#include "warp/pin.h"

#include <gtest/gtest.h>

#include <Eigen/LU>

#include <cmath>

#include "base/motion.h"
#include "base/parallel.h"
#include "tests/warp/drawn.h"

namespace pw::pin_test {

const std::vector<Point> kRegion = {Point(20, 20), Point(150, 25), Point(145, 105), Point(30, 95)};

// The plane's true place at any time, by formula; the tool sees whole frames of it.
using Course = std::function<Matrix3(double)>;

Motion sampled(const Course& course, int first, int last) {
  Motion m{170, 120, 0, kRegion, {}};
  const Matrix3 to_reference = course(0).inverse();
  for (int f = first; f <= last; ++f) m.poses.push_back({f, normalised(course(f) * to_reference)});
  return m;
}

Course slide(double vx, double vy) {
  return [=](double t) { return translation(vx * t, vy * t); };
}
Course turning_zoom() {
  return [](double t) {
    const double a = 0.02 * t, s = 1 + 0.01 * t;
    Matrix3 r;
    r << s * std::cos(a), -s * std::sin(a), 3 * t, s * std::sin(a), s * std::cos(a), -2 * t + 0.1 * t * t, 1e-5 * t,
        -2e-5 * t, 1;
    return Matrix3(translation(85, 60) * r * translation(-85, -60));
  };
}

// What a camera sees of the texture at frame f: the mean over its shutter of the texture through the true course.
Picture filmed(const Course& course, int f, double shutter_deg, const Rect& r) {
  const int n = shutter_deg > 0 ? 80 : 1;
  std::vector<Matrix3> back;
  for (int i = 0; i < n; ++i) back.push_back(course(f + shutter_deg / 720 * (2 * i + 1 - n) / n).inverse());
  return draw(r, 1, [&](double x, double y, int k) {
    double sum = 0;
    for (const Matrix3& h : back) {
      const Point p = map(h, Point(x, y));
      sum += texture(p.x(), p.y(), k);
    }
    return static_cast<float>(sum / n);
  });
}

const Rect kStill{-60, -60, 240, 180}, kOut = Rect::sized(170, 120), kCore{20, 20, 150, 100};

TEST(Pin, AtItsOwnFrameTheStillComesBack) {
  const Motion m = sampled(turning_zoom(), -4, 8);
  const Picture still = noise_picture(kStill, 4);
  for (int f : {0, 3}) {
    const auto q = pin(still, {m, f, 180, f, {f}, 180, {}}, kOut);
    ASSERT_TRUE(q);
    EXPECT_TRUE(same_bits(*q, still.cropped(kOut))) << f;
  }
}

TEST(Pin, SharpStillIsSmearedAsTheShutterDoes) {
  const std::pair<Course, double> courses[] = {
      {slide(1.3, 0.4), 60}, {slide(12, 5), 65}, {slide(-40, 3), 70}, {turning_zoom(), 60}};
  for (const auto& [course, asked] : courses) {
    const Motion m = sampled(course, -4, 8);
    const Picture still = filmed(course, 0, 0, kStill);
    const auto q = pin(still, {m, 3, 180, 0, {}, 0, {}}, kOut), sharp = pin(still, {m, 3, 0, 0, {}, 0, {}}, kOut);
    ASSERT_TRUE(q && sharp);
    const Picture truth = filmed(course, 3, 180, kOut);
    const Rect r = intersect(kCore, mapped_bounds(course(3), kStill)->grown(-30));
    ASSERT_GT(r.area(), 1000);
    std::printf("way of %.1f px: left sharp %.1f, smeared %.1f dB\n",
                (map(course(1), Point(0, 0)) - Point(0, 0)).norm() / 2, psnr(*sharp, truth, r), psnr(*q, truth, r));
    EXPECT_GT(psnr(*q, truth, r), asked);
  }
}

// A plane that speeds up along a line: frame f is smeared over `slow` (first still) to `fast` pixels. x(t) = a t + b
// t^2.
Course speeding(double a, double b, double angle = 0) {
  return [=](double t) {
    const double s = a * t + b * t * t;
    return translation(s * std::cos(angle), s * std::sin(angle));
  };
}

TEST(Pin, ASmearedStillGetsTheDifference) {
  // Frame 0 is smeared over a/2 pixels, frame 2 over a/2 + 2b.
  const double asked[] = {50, 42, 40, 38, 40, 36};
  int i = 0;
  for (const auto& [own, more] : {std::pair{1.0, 2.0}, {2.0, 1.0}, {4.0, 4.0}, {4.0, 2.0}, {8.0, 8.0}, {6.0, 1.5}}) {
    const Course course = speeding(2 * own, more / 2, 0.3);
    const Motion m = sampled(course, -4, 8);
    const Picture still = filmed(course, 0, 180, kStill), truth = filmed(course, 2, 180, kOut);
    const auto reached = [&](std::vector<int> by, double shutter) {
      const auto q = pin(still, {m, 2, shutter, 0, std::move(by), 180, {}}, kOut);
      return psnr(*q, truth, kCore);
    };
    const double difference = reached({0}, 180), nothing = reached({0}, 0), everything = reached({}, 180);
    std::printf("smeared over %.1f, wanted %.1f px: difference %.1f dB, nothing %.1f, all of it %.1f\n", own,
                own + more, difference, nothing, everything);
    EXPECT_GT(difference, asked[i]);
    EXPECT_GT(difference, nothing);
    // Nearly equal lengths cannot be told apart much by weights that are not negative.
    if (more > 0.3 * own) {
      EXPECT_GT(difference, everything + 2);
    }
    ++i;
  }
}

TEST(Pin, SmearAcrossTheStillsOwnIsAddedWhole) {
  // Frame 0 moves along x, frame 3 along y.
  const Course turn = [](double t) {
    return translation(8 * std::sin(t * M_PI / 6) * 6 / M_PI, 8 * (1 - std::cos(t * M_PI / 6)) * 6 / M_PI);
  };
  const Motion m = sampled(turn, -4, 8);
  const Picture still = filmed(turn, 0, 180, kStill);
  const auto q = pin(still, {m, 3, 180, 0, {0}, 180, {}}, kOut);
  // What can be had: frame 3's smear of the still as it is.
  std::vector<Point> ways;
  const int n = 40;
  for (int i = 0; i < n; ++i)
    ways.push_back(map(turn(3 + 0.25 * (2 * i + 1 - n) / n), Point(0, 0)) - map(turn(3), Point(0, 0)));
  const Point shift = map(turn(3), Point(0, 0));
  std::vector<Point> own;
  for (int i = 0; i < n; ++i) own.push_back(map(turn(0.25 * (2 * i + 1 - n) / n), Point(0, 0)));
  const Picture truth = draw(kOut, 1, [&](double x, double y, int k) {
    double sum = 0;
    for (const Point& a : ways)
      for (int j = 0; j < n; j += 2)
        sum += texture(x - a.x() - own[j].x() - shift.x(), y - a.y() - own[j].y() - shift.y(), k);
    return float(sum / (n * n / 2));
  });
  EXPECT_GT(psnr(*q, truth, kCore), 48);
}

TEST(Pin, WhereTheStillIsSmearedMoreItStaysSo) {
  const Course course = speeding(2, 3);
  const Motion m = sampled(course, -4, 8);
  const Picture still = filmed(course, 2, 180, kStill);  // 7 px; frame 0: 1 px.
  const auto q = pin(still, {m, 0, 180, 2, {2}, 180, {}}, kOut), plain = pin(still, {m, 0, 0, 2, {2}, 180, {}}, kOut);
  EXPECT_TRUE(same_bits(*q, *plain));
}

TEST(Pin, APhotographedStillLiesInTheReference) {
  const Course course = slide(6, -2);
  const Motion m = sampled(course, -4, 8);
  const Picture still = filmed(course, 0, 0, kStill);
  const auto q = pin(still, {m, 2, 180, std::nullopt, {}, 0, {}}, kOut),
             same = pin(still, {m, 2, 180, 0, {}, 0, {}}, kOut);
  EXPECT_GT(psnr(*q, filmed(course, 2, 180, kOut), kCore), 60);
  EXPECT_LT(largest_difference(*q, *same, kCore), 1e-5);
}

TEST(Pin, SharesOfSeveralFramesAreTheirMean) {
  const Course course = speeding(4, 1);
  const Motion m = sampled(course, -4, 8);
  const Picture still = filmed(course, 1, 180, kStill);
  // The same frame several times is that frame; a slower one among them leaves more to add.
  const auto once = pin(still, {m, 4, 180, 1, {1}, 180, {}}, kOut),
             thrice = pin(still, {m, 4, 180, 1, {1, 1, 1}, 180, {}}, kOut);
  EXPECT_LT(largest_difference(*once, *thrice, kOut), 1e-4);
  const auto mixed = pin(still, {m, 4, 180, 1, {1, 0, 0}, 180, {}}, kOut);
  EXPECT_GT(largest_difference(*once, *mixed, kOut), 1e-3);
}

TEST(Pin, AConstantStaysOneToTheBit) {
  const float value[] = {0.1f, 0.7f, 3.3f, 0.9f};
  const Picture still = Canvas::filled(Rect{-400, -400, 700, 600}, 4, value).finish();
  const Motion m = sampled(turning_zoom(), -4, 8), fast = sampled(speeding(10, 3), -4, 8);
  for (const Motion* motion : {&m, &fast})
    for (int own : {0, 2}) {
      const auto q = pin(still, {*motion, 3, 180, own, {own}, 180, {Filter::sharp, Edge::hold}}, kOut);
      for (int y = 0; y < 120; ++y)
        for (int x = 0; x < 170; ++x)
          for (int k = 0; k < 4; ++k) ASSERT_EQ(q->at(x, y)[k], value[k]) << x << " " << y;
    }
}

TEST(Pin, NothingRingsAroundALamp) {
  const Picture still = draw(kStill, 3, [](double x, double y, int) {
    return std::hypot(x - 85, y - 60) < 4.4 || (std::abs(x - 50) < 2 && std::abs(y - 60) < 30) ? 20.f : 1.f;
  });
  const Motion m = sampled(turning_zoom(), -4, 8), fast = sampled(speeding(10, 3, 0.5), -4, 8);
  for (const Motion* motion : {&m, &fast})
    for (int frame : {-1, 1, 2}) {
      const auto q = pin(still, {*motion, frame, 180, 0, {0}, 180, {Filter::sharp, Edge::hold}}, kOut);
      for (int y = 0; y < 120; ++y)
        for (int i = 0; i < 510; ++i) ASSERT_GE(q->row(y)[i], 1 - 1e-5) << frame << " " << i / 3 << " " << y;
    }
}

TEST(Pin, PartsEqualTheWholeAndNeedNoMoreThanTheirReach) {
  const Picture still = noise_picture(Rect{-20, -30, 250, 190}, 3);
  const Motion m = sampled(turning_zoom(), -4, 8), fast = sampled(speeding(14, 3, 2), -4, 8);
  const Rect out{-70, -10, 210, 150};
  for (const Motion* motion : {&m, &fast}) {
    Pin how{*motion, 3, 180, 0, {0}, 180, {}};
    const Picture whole = *pin(still, how, out);
    std::vector<Rect> tiles;
    for (int y = out.y0; y < out.y1; y += 47)
      for (int x = out.x0; x < out.x1; x += 81) tiles.push_back(intersect(out, Rect{x, y, x + 81, y + 47}));
    shuffled(3)->run(tiles.size(), [&](size_t i) {
      EXPECT_TRUE(same_bits(*pin(still, how, tiles[i]), whole.cropped(tiles[i]))) << i;
      const Rect need = pin_reach(how, tiles[i], still.window());
      Pin part = how;
      part.options.source_window = still.window();
      EXPECT_TRUE(same_bits(*pin(still.cropped(need), part, tiles[i]), whole.cropped(tiles[i]))) << i;
    });
  }
}

TEST(Pin, NoAnswerForFramesTheMotionDoesNotKnow) {
  Motion m = sampled(slide(2, 1), -4, 8);
  m.poses[6].status = TrackStatus::lost;  // Frame 2.
  const Picture still = noise_picture(Rect::sized(20, 20), 1);
  EXPECT_FALSE(pin(still, {m, 2, 180, 0, {0}, 180, {}}, kOut));
  EXPECT_FALSE(pin(still, {m, 30, 180, 0, {0}, 180, {}}, kOut));
  EXPECT_FALSE(pin(still, {m, 0, 180, 2, {2}, 180, {}}, kOut));
  EXPECT_TRUE(pin_reach({m, 2, 180, 0, {0}, 180, {}}, kOut, still.window()).empty());
  // Beside a lost frame, and with a single known frame, there still is one.
  EXPECT_TRUE(pin(still, {m, 3, 180, 0, {0}, 180, {}}, kOut));
  Motion one{170, 120, 0, kRegion, {{0}}};
  const auto q = pin(still, {one, 0, 180, 0, {0}, 180, {}}, still.window());
  ASSERT_TRUE(q);
  EXPECT_TRUE(same_bits(*q, still));
}

TEST(Pin, DegenerateStillsAndPlaces) {
  const Motion m = sampled(turning_zoom(), -4, 8);
  const Pin how{m, 3, 180, 0, {0}, 180, {}};
  const float v[] = {1, 2, 3};
  EXPECT_TRUE(all_finite(*pin(Canvas::filled(Rect::sized(1, 1), 3, v).finish(), how, Rect{75, 50, 95, 70})));
  EXPECT_EQ(pin(Picture(), how, Rect::sized(4, 4))->window(), Rect::sized(4, 4));
  EXPECT_TRUE(all_finite(*pin(noise_picture(kOut, 3), how, Rect{1000000, -1000000, 1000010, -999990})));
  EXPECT_TRUE(pin(noise_picture(kOut, 3), how, Rect{})->empty());
  // 2^20 times the values give 2^20 times the result.
  const Picture a = *pin(noise_picture(kOut, 1), how, kOut), b = *pin(noise_picture(kOut, 1, 1048576), how, kOut);
  for (int y = 0; y < 120; ++y)
    for (int x = 0; x < 170; ++x) ASSERT_EQ(*a.at(x, y) * 1048576, *b.at(x, y));
}

// A lens and rows one after the other, written out again: frame `f` is the mean over the shutter of what each row sees
// at its own time.
Picture filmed_bent(const Course& course, const Motion& m, int f, double shutter_deg, const Rect& r) {
  const int n = shutter_deg > 0 ? 24 : 1;
  return draw(r, 1, [&](double x, double y, int k) {
    const double half = 0.5 * std::hypot(m.width, m.height), u = x - m.width / 2.0, v = y - m.height / 2.0;
    // The ideal point that is seen here, by repeated division.
    double s = 1;
    for (int i = 0; i < 30; ++i) s = 1 + m.lens.k1 * (u * u + v * v) / (s * s * half * half);
    double sum = 0;
    for (int i = 0; i < n; ++i) {
      const double row = m.readout * (std::clamp(y / m.height, 0.0, 1.0) - 0.5);
      const Matrix3 h = course(f + row + shutter_deg / 720 * (2 * i + 1 - n) / n);
      const Point p = map(h.inverse(), Point(m.width / 2.0 + u / s, m.height / 2.0 + v / s));
      sum += texture(p.x(), p.y(), k);
    }
    return static_cast<float>(sum / n);
  });
}

TEST(Pin, ThroughALensWithRowsOneAfterTheOther) {
  const Course shaken = [](double t) {
    return Matrix3(turning_zoom()(t) * translation(9 * std::sin(0.9 * t), 6 * std::cos(1.1 * t) - 6));
  };
  Motion m = sampled(shaken, -6, 10);
  for (const auto& [k1, readout] : {std::pair{-0.12, 0.0}, std::pair{0.0, 0.6}, std::pair{-0.12, -0.6}}) {
    m.lens.k1 = k1, m.readout = readout;
    const Picture still = filmed_bent(shaken, m, 1, 0, kStill);
    for (double shutter : {0.0, 180.0}) {
      if (shutter > 0 && (k1 == 0 || readout == 0)) continue;  // Both at once will do.
      const Pin there{m, 4, shutter, 1, {}, 0, {}};
      const auto q = pin(still, there, kOut);
      ASSERT_TRUE(q);
      const Picture truth = filmed_bent(shaken, m, 4, shutter, kOut);
      // The smear's weights are cut for the straight path of a place; the motion between frames is a cubic.
      EXPECT_GT(psnr(*q, truth, kCore), 44) << k1 << " " << readout << " " << shutter;
      Motion straight = m;
      straight.lens = {}, straight.readout = 0;
      EXPECT_LT(psnr(*pin(still, {straight, 4, shutter, 1, {}, 0, {}}, kOut), truth, kCore), 35);
      // Parts are the same as in the whole, and need no more than was said.
      for (const Rect& r : {Rect{40, 30, 90, 60}, Rect{33, 47, 130, 90}}) {
        const Rect reach = pin_reach(there, r, kStill);
        EXPECT_LT(reach.area(), 0.8 * double(kStill.area()));
        Pin cut = there;
        cut.options.source_window = kStill;
        EXPECT_TRUE(same_bits(*pin(still.cropped(reach), cut, r), q->cropped(r)));
      }
    }
    // At its own frame it comes back.
    EXPECT_TRUE(same_bits(*pin(still, {m, 1, 180, 1, {1}, 180, {}}, kOut), still.cropped(kOut)));
  }
}

}  // namespace pw::pin_test
