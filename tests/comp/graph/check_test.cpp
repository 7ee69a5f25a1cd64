// Every message a shot file can draw, compared whole.
#include <gtest/gtest.h>

#include "comp/graph/graph.h"
#include "toy_kinds.h"

namespace pw::check_test {

std::string messages(const std::string& text) {
  static const auto kinds = toy::kinds();
  auto parsed = parse_shot(text, "quay.toml");
  if (!parsed) return to_string(parsed.error());
  auto checked = check(*parsed, kinds);
  return checked ? to_string(checked->warnings) : to_string(checked.error());
}

const std::string kPlate = "plate = { kind = \"pattern\" }\n";

TEST(Check, AGoodShotHasNoMessage) {
  EXPECT_EQ(
      messages(kPlate + "moved = { kind = \"offset\", image = \"plate\", gain = { 1 = 0, 9 = 1, ease = \"smooth\" } }\n"
                        "out = { kind = \"collect\", image = \"moved\", file = \"out.####.png\" }\n"),
      "");
}

TEST(Check, UnknownKind) {
  EXPECT_EQ(messages(kPlate + "moved = { kind = \"ofset\", image = \"plate\" }\n"),
            "quay.toml:2:18: moved: there is no kind \"ofset\"; did you mean offset?\n");
  EXPECT_EQ(messages("a = { kind = \"zzzzzzz\" }\n"),
            "quay.toml:1:14: a: there is no kind \"zzzzzzz\"; \"platewright kinds\" lists them\n");
  EXPECT_EQ(messages("a = { kind = \"clip\" }\n"),
            "quay.toml:1:14: a: there is no kind \"clip\"; pattern does this: Pixels that tell where they are.\n");
}

TEST(Check, MisspeltParameterAndInput) {
  EXPECT_EQ(messages(kPlate + "moved = { kind = \"offset\", imgae = \"plate\" }\n"),
            "quay.toml:2:1: moved has no image; an offset needs a picture there: image = \"NODE\"\n"
            "quay.toml:2:28: moved (offset) has no \"imgae\"; did you mean image?\n");
  EXPECT_EQ(messages(kPlate + "moved = { kind = \"offset\", image = \"plate\", colour = 3 }\n"),
            "quay.toml:2:45: moved (offset) has no \"colour\"; \"platewright kinds offset\" lists what it takes\n");
}

TEST(Check, WrongValueType) {
  EXPECT_EQ(messages(kPlate + "moved = { kind = \"offset\", image = \"plate\", dx = \"2\" }\n"),
            "quay.toml:2:50: moved.dx is a text in quotes; it takes a whole number\n");
  EXPECT_EQ(messages(kPlate + "floor = { kind = \"plane\", image = \"plate\", region = [[0, 0], 7] }\n"),
            "quay.toml:2:62: corner 2 of floor.region is not a point; a point is [x, y] in pixels\n");
}

TEST(Check, OutOfRangeAndNotANumber) {
  EXPECT_EQ(messages(kPlate + "moved = { kind = \"offset\", image = \"plate\", gain = nan }\n"),
            "quay.toml:2:52: moved.gain is not a number; it may be 0 to 10\n");
  EXPECT_EQ(messages(kPlate + "moved = { kind = \"offset\", image = \"plate\", dx = 101 }\n"),
            "quay.toml:2:50: moved.dx is 101 px; it may be -100 to 100 px\n");
  EXPECT_EQ(messages(kPlate + "moved = { kind = \"offset\", image = \"plate\", gain = { 1 = 0, 4 = 11 } }\n"),
            "quay.toml:2:52: moved.gain is 11; it may be 0 to 10 (frame 4)\n");
}

TEST(Check, AFractionOfAFrame) {
  EXPECT_EQ(messages(kPlate + "moved = { kind = \"offset\", image = \"plate\", gain = { 1.5 = 0 } }\n"),
            "quay.toml:2:54: moved.gain has the key 1.5, which TOML reads as a table inside a table; keys are whole "
            "frames: use "
            "1 or 2\n");
}

TEST(Check, MissingInput) {
  EXPECT_EQ(messages(kPlate + "out = { kind = \"collect\", file = \"out.png\" }\n"),
            "quay.toml:2:1: out has no image; a collect needs a picture there: image = \"NODE\"\n");
  EXPECT_EQ(messages(kPlate + "out = { kind = \"collect\", image = \"plaet\", file = \"out.png\" }\n"),
            "quay.toml:2:35: out.image names \"plaet\", which is no node; did you mean plate?\n");
  EXPECT_EQ(messages(kPlate + "out = { kind = \"collect\", image = \"plate\" }\n"),
            "quay.toml:2:1: out has no file; a collect needs it: file = \"out.####.png\"\n");
}

TEST(Check, WrongFlow) {
  EXPECT_EQ(messages(kPlate + "floor = { kind = \"plane\", image = \"plate\" }\n"
                              "out = { kind = \"collect\", image = \"floor\", file = \"out.png\" }\n"),
            "quay.toml:3:35: out.image takes a picture, but floor gives a motion; what gives a picture: pattern, "
            "offset, sum\n");
  EXPECT_EQ(
      messages("dog = { kind = \"outline\" }\nout = { kind = \"collect\", image = \"dog\", file = \"out.png\" }\n"),
      "quay.toml:2:35: out.image takes a picture, but dog gives an outline; what gives a picture: pattern, "
      "offset, sum\n");
  // An outline stands where a matte is wanted.
  EXPECT_EQ(
      messages(kPlate +
               "dog = { kind = \"outline\" }\nfloor = { kind = \"plane\", image = \"plate\", ignore = [\"dog\"] }\n"),
      "");
}

TEST(Check, ThreeCorners) {
  EXPECT_EQ(messages(kPlate + "wall = { kind = \"plane\", image = \"plate\", region = [[0, 0], [9, 0], [9, 9]] }\n"),
            "quay.toml:2:52: wall.region has 3 corners; a plane needs 4 or more\n");
}

TEST(Check, Cycle) {
  EXPECT_EQ(
      messages(kPlate + "floor = { kind = \"plane\", image = \"plate\", ignore = \"dog\" }\n"
                        "dog = { kind = \"outline\", motion = \"floor\" }\n"),
      "quay.toml:2:53: floor needs itself: floor.ignore -> dog.motion -> floor; track a rough plane first "
      "without ignore, let the outline dog follow that one, then track the fine plane that ignores the outline\n");
  EXPECT_EQ(messages("a = { kind = \"offset\", image = \"b\" }\nb = { kind = \"offset\", image = \"a\" }\n"),
            "quay.toml:1:32: a needs itself: a.image -> b.image -> a; take one of these connections out\n");
}

TEST(Check, OutputOntoInput) {
  EXPECT_EQ(messages("plate = { kind = \"pattern\", file = \"in/a.####.png\" }\n"
                     "out = { kind = \"collect\", image = \"plate\", file = \"in/../in/a.%04d.png\" }\n"),
            "quay.toml:2:51: out would write over the files that plate reads; give out.file another name or folder\n");
  EXPECT_EQ(messages("plate = { kind = \"pattern\", file = \"in/a.0012.png\" }\nshot = { like = \"plate\" }\n"
                     "out = { kind = \"collect\", image = \"plate\", file = \"in/a.####.png\" }\n"),
            "quay.toml:3:51: out would write over the files that plate reads; give out.file another name or folder\n");
  EXPECT_EQ(messages(kPlate + "a = { kind = \"collect\", image = \"plate\", file = \"o.####.png\" }\n"
                              "b = { kind = \"collect\", image = \"plate\", file = \"o.####.png\" }\n"),
            "quay.toml:3:49: a and b write the same files; give b.file another name or folder\n");
}

TEST(Check, TheShotTable) {
  EXPECT_EQ(messages(kPlate + "shot = { like = \"plaet\" }\n"),
            "quay.toml:2:17: shot.like is \"plaet\", which is no footage of this file; did you mean plate?\n");
  EXPECT_EQ(messages(kPlate + "shot = { siez = [3, 3] }\n"),
            "quay.toml:2:10: shot has no \"siez\"; did you mean size?\n");
  EXPECT_EQ(messages(kPlate + "shot = { size = [1000000, 1000000] }\n"),
            "quay.toml:2:17: shot.size is 1000000 px; it may be 1 to 65536 px\n");
  EXPECT_EQ(messages(kPlate + "shot = { rate = \"24/0\" }\n"),
            "quay.toml:2:17: shot.rate is \"24/0\"; write 24, \"25\" or \"24000/1001\"; it may be 0.1 to 1000\n");
  EXPECT_EQ(messages(kPlate + "shot = { frames = [9, 1] }\n"),
            "quay.toml:2:19: shot.frames is not a first and a last frame; write frames = [first, last]\n");
}

TEST(Check, NotTomlAndNotANode) {
  EXPECT_EQ(messages("plate = { kind = \"pattern\"\n").substr(0, 41), "quay.toml:1:27: this is not TOML: Error w");
  EXPECT_EQ(messages("width = 3\n"),
            "quay.toml:1:1: \"width\" stands outside any node; a node is a table with a kind, as in width = { kind = "
            "\"footage\", "
            "file = \"plate.####.png\" }\n");
  EXPECT_EQ(messages(""), "quay.toml:1:1: the shot has no node; see \"platewright kinds\" for what there is\n");
  EXPECT_EQ(messages("a = { }\n"), "quay.toml:1:1: a has no kind; add kind = \"...\"; see \"platewright kinds\"\n");
}

TEST(Check, LettersBeyondAsciiStandInQuotes) {
  const std::string stray =
      ": this is not TOML: a letter with an accent, or of another script, stands outside of quotes; put the text in "
      "quotes; names of "
      "nodes and parameters use plain letters\n";
  EXPECT_EQ(messages("h\u00e4user = 3\n"), "quay.toml:1:2" + stray);
  EXPECT_EQ(messages("a = \"\u00e4\" # \u00e4\nb = \u0262\n"), "quay.toml:2:5" + stray);
  EXPECT_EQ(
      messages(kPlate + "# h\u00e4user\nq = { kind = \"pattern\", file = '\u00e4.png' }\nshot = { like = \"q\" }\n"),
      "");
  EXPECT_EQ(messages("a = \"\"\"\n\u00e4 \\\"\"\"\"\nb = \u00e4"), "quay.toml:3:5" + stray);
}

TEST(Check, SeveralProblemsComeInTheOrderOfTheFile) {
  EXPECT_EQ(messages("a = { kind = \"ofset\" }\nb = { kind = \"sum\", add = [\"c\", 3] }\n"),
            "quay.toml:1:14: a: there is no kind \"ofset\"; did you mean offset?\n"
            "quay.toml:2:28: b.add names \"c\", which is no node; name a node of this file\n"
            "quay.toml:2:33: b.add does not name a node; write a node's name in quotes\n");
}

TEST(Check, Settings) {
  const auto text = *parse_shot(kPlate + "moved = { kind = \"offset\", image = \"plate\", dx = 1 }\n", "quay.toml");
  static const auto kinds = toy::kinds();
  auto set = with_setting(text, "moved.dx=7");
  ASSERT_TRUE(set);
  auto checked = check(*set, kinds);
  ASSERT_TRUE(checked);
  const Node& node = checked->graph.nodes[checked->graph.find("moved")];
  EXPECT_EQ(static_cast<const toy::Offset*>(node.params.get())->dx, 7);
  EXPECT_EQ(to_string(with_setting(text, "nix.dx=7").error()),
            "--set nix.dx=7: the shot has no node \"nix\"; name a node of the shot file\n");
  EXPECT_EQ(to_string(with_setting(text, "dx").error()),
            "--set dx: this is no setting; write --set NODE.PARAMETER=VALUE, as in --set clean.filter=cubic\n");
  EXPECT_EQ(to_string(check(*with_setting(text, "moved.dx=soft"), kinds).error()),
            "quay.toml: moved.dx is a text in quotes; it takes a whole number\n");
}

TEST(Check, NodesStandAfterTheirInputs) {
  static const auto kinds = toy::kinds();
  auto checked = check(*parse_shot("out = { kind = \"collect\", image = \"sum\", file = \"o.png\" }\n"
                                   "sum = { kind = \"sum\", add = [\"b\", \"plate\"] }\n"
                                   "b = { kind = \"offset\", image = \"plate\" }\n" +
                                       kPlate,
                                   "q.toml"),
                       kinds);
  ASSERT_TRUE(checked);
  for (size_t n = 0; n < checked->graph.nodes.size(); ++n)
    for (const auto& input : checked->graph.nodes[n].inputs)
      for (const Link& l : input) EXPECT_LT(l.node, int(n));
}

}  // namespace pw::check_test
