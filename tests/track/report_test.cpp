#include "track/report.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace pw::report_test {

using testing::HasSubstr;
using testing::Not;

size_t count(const std::string& text, const std::string& what) {
  size_t n = 0;
  for (size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++n;
  return n;
}

// 20 frames, the reference 5; weak from 8 to 10, lost at 15.
Motion motion() {
  Motion m{64, 48, 5, {{10, 8}, {40, 8}, {40, 30}, {10, 30}}, {}};
  for (int f = 1; f <= 20; ++f) {
    Pose p{.frame = f, .frame_from_ref = translation(f - 5, 0), .residual = f == 5 ? 0 : 0.01 + 0.001 * f};
    p.corner_covariance.assign(64, 0);
    for (int i = 0; i < 8; ++i) p.corner_covariance[9 * i] = f == 9 ? 0.64 : 0.0025;
    if (f >= 8 && f <= 10) p.status = TrackStatus::weak, p.reason = "a corner is known to 0.80 px only";
    if (f == 10) p.reason = "the alignment still moved by 0.10 px when it was stopped";
    if (f == 15) p.status = TrackStatus::lost, p.reason = "the frame could not be read";
    m.poses.push_back(p);
  }
  return m;
}

TrackReport report() {
  TrackReport r{.shot = "quay.toml", .difference_gain = 4};
  r.tracks.push_back({"wall", "plate", motion(), {}});
  for (int f = 1; f <= 20; ++f) {
    r.tracks[0].held.push_back({f, {f == 15 ? "" : "foobar", 30, 22}, {f == 15 ? "" : "foo", 30, 22}});
    if (f % 5 == 0) r.views.push_back({"plate", f, {"foob", 64, 48}});
  }
  return r;
}

TEST(Report, WhatToLookAtComesFirstWithItsReason) {
  const std::string page = report_page(report());
  EXPECT_THAT(page,
              HasSubstr("<td>wall</td><td><a href=\"#held-1-8\">8</a> to <a href=\"#held-1-10\">10</a></td><td>"
                        "weak</td><td>a corner is known to 0.80 px only<br/>from 10 on: the alignment still moved "
                        "by 0.10 px when it was stopped</td>"));
  EXPECT_THAT(page,
              HasSubstr("<td><a href=\"#held-1-15\">15</a></td><td>lost</td><td>the frame could not be read</td>"));
  EXPECT_LT(page.find("Frames to look at"), page.find("<img"));
  EXPECT_LT(page.find("Frames to look at"), page.find("class=\"plot\""));
}

TEST(Report, AllGoodIsSaid) {
  TrackReport r = report();
  for (Pose& p : r.tracks[0].motion.poses) p.status = TrackStatus::good, p.reason.clear();
  EXPECT_THAT(report_page(r), HasSubstr("<p>None: every frame is good.</p>"));
}

TEST(Report, ThePlaneInOneRow) {
  // Residuals without the reference and the lost frame, 0.011 to 0.030: the tenth of 18 is that of frame 11.
  EXPECT_THAT(report_page(report()),
              HasSubstr("<td class=\"n\"><a href=\"#held-1-5\">5</a></td><td class=\"n\">20</td><td class=\"n\">16</td>"
                        "<td class=\"n\">3</td><td class=\"n\">0</td><td class=\"n\">0</td><td class=\"n\">1</td><td "
                        "class=\"n\">0.0210</td><td class=\"n\">0.0300, <a href=\"#held-1-20\">20</a></td><td "
                        "class=\"n\">0.050 px</td><td class=\"n\">0.800 px, <a href=\"#held-1-9\">9</a></td>"));
}

TEST(Report, EveryLinkLeadsSomewhere) {
  const std::string page = report_page(report());
  size_t links = 0;
  for (size_t at = page.find("href=\"#"); at != std::string::npos; at = page.find("href=\"#", at + 1), ++links) {
    const std::string id = page.substr(at + 7, page.find('"', at + 7) - at - 7);
    EXPECT_EQ(count(page, "id=\"" + id + "\""), 1u) << id;
  }
  EXPECT_GE(links, 6u);
  for (const char* s : {"good", "weak", "hidden", "outside", "lost"})
    EXPECT_EQ(count(page, std::string("<pattern id=\"fill-") + s + "\""), 1u);
}

TEST(Report, PicturesAreInsideAndNothingElseIsFetched) {
  const std::string page = report_page(report());
  EXPECT_EQ(count(page, "src=\"data:image/jpeg;base64,Zm9vYmFy\""), 19u);
  EXPECT_EQ(count(page, "src=\"data:image/jpeg;base64,Zm9v\""), 19u);
  EXPECT_EQ(count(page, "href=\"data:image/jpeg;base64,Zm9vYg==\""), 4u);
  EXPECT_EQ(count(page, "<img "), count(page, " alt=\""));
  EXPECT_EQ(count(page, "no position"), 1u);
  for (const char* away : {"http", "<script", "url(\"", "@import", "<link"}) EXPECT_THAT(page, Not(HasSubstr(away)));
}

// On frame 10 the region lies 5 px to the right; on the lost frame 15 none is drawn.
TEST(Report, RegionsLieWhereTheTrackPutsThem) {
  const std::string page = report_page(report());
  EXPECT_EQ(count(page, "<polygon class=\"region t0\" points=\"15.00,8.00 45.00,8.00 45.00,30.00 15.00,30.00\"/>"), 1u);
  EXPECT_EQ(count(page, "<polygon class=\"region t0\""), 3u);
  EXPECT_THAT(page, HasSubstr("<figcaption>Frame 15 of plate; wall: lost</figcaption>"));
  EXPECT_THAT(page, HasSubstr("<figcaption>Frame 5 of plate; wall (its reference): good</figcaption>"));
}

// Corner 2 of frame 10 has the axes 0.3 and 0.1 px, turned by 30 degrees; the usual sigma is 0.05 px, and 5 the
// largest of 1, 2, 5, 10, ... times which 2.5 sigma is below 64 / 60 px.
TEST(Report, EllipsesShowTheCovariance) {
  TrackReport r = report();
  Pose& p = r.tracks[0].motion.poses[9];
  const double a = 0.09, b = 0.01, c = std::cos(M_PI / 6), s = std::sin(M_PI / 6);
  p.corner_covariance[2 * 8 + 2] = a * c * c + b * s * s;
  p.corner_covariance[3 * 8 + 3] = a * s * s + b * c * c;
  p.corner_covariance[2 * 8 + 3] = p.corner_covariance[3 * 8 + 2] = (a - b) * c * s;
  const std::string page = report_page(r);
  // sqrt(5.991) = 2.4477, the square root of the 95 % quantile of chi squared with two degrees of freedom (from
  // memory).
  EXPECT_THAT(page, HasSubstr("rx=\"3.67\" ry=\"1.22\" transform=\"translate(45.00 8.00) rotate(30.0)\""));
  EXPECT_THAT(page, HasSubstr(", 5 times enlarged, holds"));
  EXPECT_EQ(count(page, "<ellipse"), 3u * 4);  // Not on the lost frame.
}

TEST(Report, EllipsesDoNotFillThePicture) {
  TrackReport r = report();
  for (int i = 0; i < 8; ++i) r.tracks[0].motion.poses[9].corner_covariance[9 * i] = 1;  // Of 64 x 48 px.
  const std::string page = report_page(r);
  EXPECT_THAT(page, HasSubstr("Frame 10 of plate; wall: weak; ellipses 2 times enlarged<"));
  EXPECT_THAT(page, HasSubstr("rx=\"4.90\" ry=\"4.90\" transform=\"translate(15.00 8.00)"));
  EXPECT_THAT(page, HasSubstr("Frame 20 of plate; wall: good<"));
}

TEST(Report, BandsRunFromFrameToFrame) {
  const std::string page = report_page(report());
  // 870 units for 20 frames, from 70 on.
  EXPECT_THAT(page, HasSubstr("<rect class=\"box\" x=\"374.5\" y=\"4\" width=\"130.5\" height=\"18\" "
                              "fill=\"url(#fill-weak)\"><title>wall, frames 8 to 10: weak</title></rect>"));
  EXPECT_EQ(count(page, "<title>wall, frames"), 5u);
}

// What is carried over from other frames was compared with nothing: no residual of 0 is claimed.
TEST(Report, HiddenFramesHaveNoResidual) {
  TrackReport r = report();
  for (int f : {12, 13}) {
    Pose& p = r.tracks[0].motion.poses[f - 1];
    p.status = TrackStatus::hidden, p.residual = 0, p.reason = "2 frames without sight, between frames 11 and 14";
  }
  const std::string page = report_page(r);
  EXPECT_THAT(
      page,
      HasSubstr("<tr><td class=\"n\">12</td><td>hidden</td><td class=\"n\"></td><td class=\"n\">0.050</td></tr>"));
  EXPECT_THAT(page, HasSubstr("hidden: not seen: carried over from the frames around"));
  // The plot's line is broken there, and by the reference and the lost frame.
  const size_t from = page.find("<path class=\"line t0 strong\"", page.find("Residual, code values"));
  EXPECT_EQ(count(page.substr(from, page.find("\">", from) - from), "M"), 4u);
}

TEST(Report, SeveralPlanesShareTablesAndPlots) {
  TrackReport r = report();
  r.tracks.push_back({"floor", "plate", motion(), {}});
  r.tracks.push_back({"tram", "other", motion(), {}});
  r.tracks[1].motion.poses.resize(12);
  const std::string page = report_page(r);
  EXPECT_THAT(page, HasSubstr("<th>wall: status</th><th>wall: residual</th><th>wall: uncertainty, px</th><th>floor: "));
  EXPECT_EQ(count(page, "<path class=\"line t1\""), 4u * 3);  // Corners: uncertainty, right, down.
  EXPECT_EQ(count(page, "<path class=\"line t1 strong\""), 2u);
  EXPECT_THAT(page, HasSubstr("Frame 10 of plate; wall: weak, floor: weak"));
  EXPECT_EQ(count(page, "<polygon class=\"region t2\""), 0u);  // It was measured on another image.
  EXPECT_EQ(count(page, "<svg class=\"plot\""), 5u);
}

TEST(Report, NamesAndReasonsAreEscaped) {
  TrackReport r = report();
  r.shot = "a&b.toml", r.tracks[0].name = "<b onload=\"x\">";
  r.tracks[0].motion.poses[14].reason = "</td><script>";
  const std::string page = report_page(r);
  EXPECT_THAT(page, HasSubstr("<title>a&amp;b.toml: the tracks of &lt;b onload=&quot;x&quot;&gt;</title>"));
  EXPECT_THAT(page, Not(HasSubstr("<b ")));
  EXPECT_THAT(page, Not(HasSubstr("<script")));
}

// A track read from a file may have one frame, no covariance, and none of what is known of a measured one.
TEST(Report, ABareTrackHasAPage) {
  Motion m{64, 48, 5, {{10, 8}, {40, 8}, {40, 30}, {10, 30}}, {}};
  m.poses.push_back({.frame = 3, .status = TrackStatus::lost});
  for (int n : {1, 2}) {
    const std::string page = report_page({"quay.toml", {{"wall", "plate", m, {}}}, {{"plate", 3, {}}}, 1});
    EXPECT_THAT(page, HasSubstr("not known"));
    EXPECT_THAT(page, Not(HasSubstr("nan")));
    EXPECT_THAT(page, Not(HasSubstr("inf")));
    m.poses[0].status = TrackStatus::good;
    m.poses[0].frame_from_ref(2, 0) = -1 / 10.;  // Sends a corner to infinity.
    if (n == 2) m.poses.push_back({.frame = 90});
  }
}

}  // namespace pw::report_test
