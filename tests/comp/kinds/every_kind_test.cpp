// Holds for every kind there is, and for the next one without touching this file.
#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <map>
#include <set>
#define XXH_INLINE_ALL
#include <xxhash.h>

#include "bench.h"
#include "comp/graph/read_value.h"
#include "comp/spec/describe.h"

namespace pw::every_kind_test {

using bench::Bench;

class EveryKind : public testing::TestWithParam<const Kind*> {
 protected:
  const Kind& kind() const { return *GetParam(); }
  bool draws() const { return bool(kind().hooks.make); }

  // The defaults, then one change at a time: every choice, both ends of every number.
  std::vector<std::shared_ptr<void>> settings() const {
    std::vector<std::shared_ptr<void>> all{kind().fresh()};
    auto with = [&](const Param& p, const Value& v) {
      all.push_back(kind().fresh());
      p.set(all.back().get(), v);
    };
    for (const Param& p : kind().params) {
      for (std::string_view c : p.say.choices) with(p, std::string(c));
      if (std::holds_alternative<bool>(p.fallback)) with(p, !std::get<bool>(p.fallback));
      for (double end : {p.say.low, p.say.high}) {
        if (!std::isfinite(end)) continue;
        if (std::holds_alternative<double>(p.fallback)) with(p, end);
        if (std::holds_alternative<Animated>(p.fallback)) with(p, Animated(end));
        if (std::holds_alternative<int64_t>(p.fallback)) with(p, static_cast<int64_t>(end));
        if (std::holds_alternative<FrameOrAuto>(p.fallback)) with(p, FrameOrAuto{static_cast<int64_t>(end)});
      }
      if (std::holds_alternative<FrameOrAuto>(p.fallback)) with(p, FrameOrAuto{});
    }
    return all;
  }

  static Rect drawn_rect(const Bench& b, const Kind& k, const void* params, int frame) {
    const Rect r = intersect(b.extent(k, params, frame), b.shot.canvas().grown(6));
    return r.empty() ? b.shot.canvas() : r;
  }
};

TEST_P(EveryKind, SaysWhatItDoes) {
  EXPECT_EQ(kind().doc.back(), '.');
  std::set<std::string_view> seen;
  for (const Param& p : kind().params) {
    EXPECT_TRUE(seen.insert(p.name).second) << p.name;
    EXPECT_EQ(p.say.doc.back(), '.') << p.name;
    const bool bare_number =
        std::holds_alternative<double>(p.fallback) && p.say.unit != Unit::none && p.say.unit != Unit::fraction;
    if (bare_number)
      EXPECT_NE(p.name.find('_'), std::string_view::npos) << p.name << " does not carry its unit in its name";
  }
  for (const Input& i : kind().inputs) EXPECT_TRUE(seen.insert(i.name).second) << i.name;
  EXPECT_EQ(kind().family == Family::sink, kind().outputs.empty());
}

TEST_P(EveryKind, DefaultsAreLegal) {
  for (const Param& p : kind().params)
    if (!p.say.required) EXPECT_EQ(complaint(p, p.fallback), "");
}

TEST_P(EveryKind, RefusesNotANumberAndOutOfRange) {
  for (const Param& p : kind().params) {
    std::vector<double> bad = {std::nan(""), INFINITY, -INFINITY};
    if (std::isfinite(p.say.max)) bad.push_back(p.say.max + 1);
    if (std::isfinite(p.say.min)) bad.push_back(p.say.min - 1);
    for (double b : bad) {
      if (std::holds_alternative<double>(p.fallback)) EXPECT_NE(complaint(p, b), "") << p.name << " " << b;
      if (std::holds_alternative<Animated>(p.fallback)) EXPECT_NE(complaint(p, Animated(b)), "") << p.name << " " << b;
      if (std::holds_alternative<FrameOrAuto>(p.fallback) && std::isfinite(b))
        EXPECT_NE(complaint(p, FrameOrAuto{static_cast<int64_t>(b)}), "") << p.name << " " << b;
      if (std::holds_alternative<Polygon>(p.fallback))
        EXPECT_NE(complaint(p, Polygon{{b, 0}}), b > 1e300 || b != b || b < -1e300 ? "" : "x");
    }
  }
}

TEST_P(EveryKind, TextToValueToTextIsExact) {
  for (const auto& params : settings())
    for (const Param& p : kind().params) {
      const Value v = p.get(params.get());
      const std::string text = to_text(v);
      auto parsed = parse_shot("v = " + text, "text");
      ASSERT_TRUE(parsed) << p.name << ": " << text;
      auto back = read_value(parsed->entries[0].value, p, "node", "text");
      if (!back && complaint(p, v) != "") continue;  // An empty required text, say.
      ASSERT_TRUE(back) << p.name << ": " << to_string(back.error());
      EXPECT_EQ(to_text(*back), text) << p.name;
      EXPECT_TRUE(*back == v) << p.name;
    }
}

TEST_P(EveryKind, TilesThreadsAndReachMakeNoDifference) {
  if (!draws()) return;
  const auto two = arena(2), mixed = shuffled(5);
  for (bool fixed : {false, true})
    for (const auto& params : settings()) {
      const Bench b(kind(), 61, 43, fixed);
      const Rect rect = drawn_rect(b, kind(), params.get(), 5);
      const Picture whole = b.draw(kind(), params.get(), 5, rect, serial(), 4096, 4096);
      EXPECT_TRUE(same_bits(whole, b.draw(kind(), params.get(), 5, rect, serial(), 4096, 4096))) << "twice";
      EXPECT_TRUE(same_bits(whole, b.draw(kind(), params.get(), 5, rect, serial(), 4096, 7))) << "bands";
      EXPECT_TRUE(same_bits(whole, b.draw(kind(), params.get(), 5, rect, *two, 13, 11))) << "tiles, two threads";
      EXPECT_TRUE(same_bits(whole, b.draw(kind(), params.get(), 5, rect, *mixed, 16, 8))) << "shuffled tiles";
      EXPECT_TRUE(same_bits(whole, b.draw(kind(), params.get(), 5, rect, serial(), 17, 9, -1e30f)))
          << "pixels it did not ask for";
    }
}

TEST_P(EveryKind, FiniteInGivesFiniteOut) {
  if (!draws()) return;
  for (bool fixed : {false, true})
    for (const auto& params : settings()) {
      const Bench b(kind(), 40, 30, fixed);
      for (int frame : {1, 3, 8}) {
        const Picture p =
            b.draw(kind(), params.get(), frame, drawn_rect(b, kind(), params.get(), frame), serial(), 4096, 4096, 0.f);
        for (int y = p.window().y0; y < p.window().y1; ++y)
          for (int i = 0; i < p.window().width() * p.channels(); ++i) ASSERT_TRUE(std::isfinite(p.row(y)[i]));
      }
    }
}

TEST_P(EveryKind, OnePixelWorks) {
  if (!draws()) return;
  for (bool fixed : {false, true})
    for (const auto& params : settings()) {
      const Bench b(kind(), 1, 1, fixed);
      const Picture p = b.draw(kind(), params.get(), 2, Rect::sized(1, 1), serial(), 1, 1);
      EXPECT_EQ(p.window(), Rect::sized(1, 1));
    }
}

// Pixels cannot change without the version. After raising a version run this test with PW_UPDATE_HASHES=1.
TEST_P(EveryKind, OutputOfAVersionStays) {
  if (!draws()) return;
  const std::string file = PW_SOURCE_DIR "/tests/comp/kinds/hashes.txt";
  XXH64_hash_t h = 0;
  for (bool fixed : {false, true})
    for (const auto& params : settings()) {
      const Bench b(kind(), 61, 43, fixed);
      const Picture p = b.draw(kind(), params.get(), 5, drawn_rect(b, kind(), params.get(), 5), serial(), 4096, 4096);
      for (int y = p.window().y0; y < p.window().y1; ++y)
        h = XXH64(p.row(y), sizeof(float) * p.channels() * p.window().width(), h);
    }
  std::map<std::string, std::string> stored;
  std::ifstream in(file);
  for (std::string name, hash; in >> name >> hash;) stored[name] = hash;
  const std::string name = std::string(kind().name) + "-" + std::to_string(kind().version);
  char now[17];
  std::snprintf(now, sizeof now, "%016llx", static_cast<unsigned long long>(h));
  if (std::getenv("PW_UPDATE_HASHES")) {
    stored[name] = now;
    std::ofstream out(file);
    for (const auto& [n, s] : stored) out << n << " " << s << "\n";
  } else {
    EXPECT_EQ(stored[name], now) << name << ": the pixels of this version changed; raise the version";
  }
}

std::vector<const Kind*> pointers() {
  std::vector<const Kind*> v;
  for (const Kind& k : all_kinds()) v.push_back(&k);
  return v;
}
INSTANTIATE_TEST_SUITE_P(Kinds, EveryKind, testing::ValuesIn(pointers()),
                         [](const auto& i) { return std::string(i.param->name); });

TEST(Docs, KindsPageIsUpToDate) {
  std::ifstream in(PW_SOURCE_DIR "/docs/kinds.md");
  const std::string page((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
  EXPECT_EQ(page, page_of_kinds(all_kinds())) << "run: platewright kinds --page > docs/kinds.md";
}

}  // namespace pw::every_kind_test
