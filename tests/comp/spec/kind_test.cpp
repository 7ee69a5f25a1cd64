#include "comp/spec/kind.h"

#include <gtest/gtest.h>

#include <cmath>

#include "comp/spec/declare.h"
#include "comp/spec/describe.h"
#include "comp/spec/nearest.h"

namespace pw::kind_test {

enum class Fit { inside, outside };
struct Toy {
  double radius_px = 4;
  double share = 0.5;
  int64_t seed = 1;
  bool mono = false;
  Fit fit = Fit::outside;
  Animated opacity = 1.0;
  FrameOrAuto reference{0};
};

Kind toy() {
  return Declare<Toy>("toy", Family::maker, 3, "Shows what a declaration gives.")
      .input({"image", Flow::picture, "What it works on."})
      .output({"image", Flow::picture, "What comes out."})
      .param("radius_px", &Toy::radius_px, {.doc = "Its radius.", .unit = Unit::px, .min = 0, .max = 512})
      .param("share", &Toy::share, {.doc = "Its share.", .unit = Unit::fraction, .min = 0, .max = 1})
      .param("seed", &Toy::seed, {.doc = "Changes the pattern."})
      .param("mono", &Toy::mono, {.doc = "One colour."})
      .param("fit", &Toy::fit, {.doc = "How it fits.", .choices = {"inside", "outside"}})
      .param("opacity", &Toy::opacity, {.doc = "How much.", .min = 0, .max = 1, .example = "{ 1 = 0, 24 = 1 }"})
      .param("reference", &Toy::reference, {.doc = "Where it looks.", .unit = Unit::frames, .min = -99, .max = 99});
}

TEST(Kind, DefaultsAreReadOffTheParams) {
  const Kind k = toy();
  EXPECT_EQ(k.param("radius_px")->fallback, Value(4.0));
  EXPECT_EQ(k.param("fit")->fallback, Value(std::string("outside")));
  EXPECT_EQ(k.param("nothing"), nullptr);
  EXPECT_EQ(k.input("image"), 0);
  EXPECT_EQ(k.input("mask"), -1);
}

TEST(Kind, SettersReachTheMember) {
  const Kind k = toy();
  Toy t;
  k.param("fit")->set(&t, std::string("inside"));
  k.param("seed")->set(&t, int64_t{7});
  EXPECT_EQ(t.fit, Fit::inside);
  EXPECT_EQ(t.seed, 7);
  EXPECT_EQ(k.param("fit")->get(&t), Value(std::string("inside")));
}

TEST(Kind, Complaints) {
  const Kind k = toy();
  EXPECT_EQ(complaint(*k.param("radius_px"), 5.0), "");
  EXPECT_EQ(complaint(*k.param("share"), 2.0), "share is 2; it may be 0 to 1");
  EXPECT_EQ(complaint(*k.param("radius_px"), 513.0), "radius_px is 513 px; it may be 0 to 512 px");
  EXPECT_EQ(complaint(*k.param("radius_px"), std::nan("")), "radius_px is not a number; it may be 0 to 512 px");
  EXPECT_EQ(complaint(*k.param("radius_px"), true), "radius_px is true or false; it takes a number");
  EXPECT_EQ(complaint(*k.param("fit"), std::string("insid")),
            "fit is \"insid\"; did you mean \"inside\"? it may be inside, outside");
  Animated a;
  a.keys = {{1, 0.5}, {9, 2}};
  EXPECT_EQ(complaint(*k.param("opacity"), a), "opacity is 2; it may be 0 to 1 (frame 9)");
  EXPECT_EQ(complaint(*k.param("reference"), FrameOrAuto{-99}), "");
  EXPECT_EQ(complaint(*k.param("reference"), FrameOrAuto{}), "");
  EXPECT_EQ(complaint(*k.param("reference"), FrameOrAuto{100}), "reference is 100 frames; it may be -99 to 99 frames");
  EXPECT_EQ(complaint(*k.param("reference"), int64_t{3}), "reference is a whole number; it takes a frame or \"auto\"");
}

TEST(Animated, LinearAndSmooth) {
  Animated a;
  a.keys = {{1, 0}, {5, 1}, {9, 1}, {13, 4}};
  EXPECT_EQ(a.at(-3), 0);
  EXPECT_EQ(a.at(3), 0.5);
  EXPECT_EQ(a.at(20), 4);
  a.ease = Ease::smooth;
  for (const auto& [f, v] : a.keys) EXPECT_EQ(a.at(f), v);
  double last = 0;
  for (double t = 1; t <= 13; t += 0.125) {
    EXPECT_GE(a.at(t), last - 1e-12) << t;  // Monotone keys give a monotone curve.
    last = a.at(t);
    if (t >= 5 && t <= 9) {
      EXPECT_NEAR(a.at(t), 1, 1e-12) << t;
    }
  }
}

TEST(Nearest, OffersWhatIsClose) {
  EXPECT_EQ(nearest("regoin", {"region", "reference"}), "region");
  EXPECT_EQ(nearest("x", {"region"}), "");
  EXPECT_EQ(nearest("", {"a"}), "a");
  EXPECT_EQ(nearest("regoin", {std::string(size_t{1} << 26, 'r'), "region"}), "region");
}

TEST(Describe, SaysEverythingDeclared) {
  const std::vector<Kind> kinds = {toy()};
  const std::string help = help_of_kind(kinds[0]);
  for (const char* words :
       {"toy (maker, version 3)", "a number, 0 to 512 (px); default 4.0", "inside | outside; default \"outside\"",
        "opacity = { 1 = 0, 24 = 1 }", "image = \"NODE\"", "a frame or \"auto\", -99 to 99 (frames); default 0"})
    EXPECT_NE(help.find(words), std::string::npos) << words << "\n" << help;
  EXPECT_NE(page_of_kinds(kinds).find("| `radius_px` | Its radius. |"), std::string::npos);
  EXPECT_NE(schema_of_shot(kinds).find("\"maximum\": 512.0"), std::string::npos);
  EXPECT_NE(schema_of_shot(kinds).find("\"const\": \"auto\""), std::string::npos);
  EXPECT_NE(fuzz_dictionary(kinds).find("\"outside\"\n"), std::string::npos);
  EXPECT_NE(fuzz_dictionary(kinds).find("\"auto\"\n"), std::string::npos);
}

TEST(Value, Text) {
  EXPECT_EQ(to_text(0.1), "0.1");
  EXPECT_EQ(to_text(3.0), "3.0");
  EXPECT_EQ(to_text(std::string("a\"b\\\n")), "\"a\\\"b\\\\\\u000A\"");
  EXPECT_EQ(to_text(Polygon{{1, 2.5}}), "[[1.0, 2.5]]");
  EXPECT_EQ(to_text(PathKeys{{3, "M 0 0"}}), "{ 3 = \"M 0 0\" }");
  EXPECT_EQ(to_text(Polygons{{{1, 2.5}, {3, 4}}, {}}), "[[[1.0, 2.5], [3.0, 4.0]], []]");
  EXPECT_EQ(to_text(FrameOrAuto{-7}), "-7");
  EXPECT_EQ(to_text(FrameOrAuto{}), "\"auto\"");
}

}  // namespace pw::kind_test
