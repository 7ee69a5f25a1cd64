// Small kinds with obvious pixels, so that the graph is tested without the real ones.
#pragma once
#include <atomic>
#include <map>
#include <mutex>

#include "comp/spec/declare.h"

namespace pw::toy {

inline std::map<std::pair<std::string, int>, Picture>& collected() {
  static std::map<std::pair<std::string, int>, Picture> c;
  return c;
}
inline std::mutex& collected_mutex() {
  static std::mutex m;
  return m;
}
inline int& measured_count() {
  static int n = 0;
  return n;
}

inline std::atomic<int>& offsets_made() {
  static std::atomic<int> n = 0;
  return n;
}

struct Source {
  std::vector<double> active;
  std::string file = "";
  int64_t broken = -1;
};
struct Offset {
  int64_t dx = 0, dy = 0;
  Animated gain = 1.0;
};
struct Sum {};
struct Track {
  Polygon region;
};
struct Sink {
  std::string file = "";
};
struct Outlined {};

inline float value_at(int x, int y, int frame) { return float(x) + 1000.f * float(y) + 0.25f * float(frame); }

inline std::vector<Kind> kinds() {
  std::vector<Kind> k;
  k.push_back(Declare<Source>("pattern", Family::source, 1, "Pixels that tell where they are.")
                  .also({"clip"})
                  .output({"image", Flow::picture, "The pattern."})
                  .param("file", &Source::file, {.doc = "A name.", .role = Role::file_in, .example = "\"a.####.png\""})
                  .param("broken", &Source::broken, {.doc = "A frame that cannot be read.", .unit = Unit::frames})
                  .param("active", &Source::active, {.doc = "What holds picture.", .unit = Unit::px})
                  .survey([](const Source& p, const Shot&) -> Result<Survey> {
                    Survey s{.width = 64, .height = 48, .first = 1, .last = 9, .identity = "pattern"};
                    if (const auto& a = p.active; !a.empty()) s.active = {int(a[0]), int(a[1]), int(a[2]), int(a[3])};
                    return s;
                  })
                  .load([](const Source& p, const Shot& shot, const Survey&, int frame) -> Result<Loaded> {
                    if (frame == p.broken)
                      return fail(Problem{.what = "the file is cut off", .remedy = "copy it again", .file = "b.png"});
                    Canvas c(shot.canvas(), 1);
                    for (int y = 0; y < 48; ++y)
                      for (int x = 0; x < 64; ++x) *c.at(x, y) = value_at(x, y, frame);
                    return Loaded{std::move(c).finish()};
                  }));
  k.push_back(
      Declare<Offset>("offset", Family::maker, 1, "Moves pixels by whole steps.")
          .input({"image", Flow::picture, "What is moved."})
          .output({"image", Flow::picture, "The moved picture."})
          .param("dx", &Offset::dx, {.doc = "Right.", .unit = Unit::px, .min = -100, .max = 100})
          .param("dy", &Offset::dy, {.doc = "Down.", .unit = Unit::px, .min = -100, .max = 100})
          .param("gain", &Offset::gain, {.doc = "Factor.", .min = 0, .max = 10})
          .needs([](const Offset& p, const Ask& a) {
            return std::vector<Demand>{{0, 0, a.frame, a.rect.moved(int(-p.dx), int(-p.dy))}};
          })
          .extent([](const Offset& p, const Ask& a) { return a.inputs[0][0].extent.moved(int(p.dx), int(p.dy)); })
          .make([](const Offset& p, const Making& m) {
            ++offsets_made();
            Canvas c = Canvas::copy(m.picture(0).moved(int(p.dx), int(p.dy)), m.rect);
            const float gain = float(p.gain.at(m.frame));
            for (int y = m.rect.y0; y < m.rect.y1; ++y)
              for (int x = m.rect.x0; x < m.rect.x1; ++x) *c.at(x, y) *= gain;
            return std::move(c).finish();
          }));
  k.push_back(Declare<Sum>("sum", Family::maker, 1, "Adds pictures.")
                  .input({.name = "add", .flow = Flow::picture, .doc = "What is added.", .list = true})
                  .input({.name = "mask", .flow = Flow::matte, .doc = "Where.", .required = false})
                  .output({"image", Flow::picture, "The sum."})
                  .make([](const Sum&, const Making& m) {
                    Canvas c = Canvas::clear(m.rect, 1);
                    for (size_t i = 0; i < m.inputs[0].size(); ++i) {
                      const Picture& p = m.get(0, int(i), m.frame);
                      const Rect r = intersect(p.window(), m.rect);
                      for (int y = r.y0; y < r.y1; ++y)
                        for (int x = r.x0; x < r.x1; ++x) *c.at(x, y) += *p.at(x, y);
                    }
                    return std::move(c).finish();
                  }));
  k.push_back(
      Declare<Track>("plane", Family::measure, 1, "A motion of one pixel a frame.")
          .input({"image", Flow::picture, "What is looked at."})
          .input({.name = "ignore", .flow = Flow::matte, .doc = "What is not.", .required = false, .list = true})
          .output({"motion", Flow::motion, "The motion."})
          .param("region", &Track::region,
                 {.doc = "Corners.", .unit = Unit::px, .example = "[[0, 0], [9, 0], [9, 9], [0, 9]]"})
          .rule([](const Track& p, const Given& given) -> std::optional<Complaint> {
            if (given("region") && p.region.size() < 4)
              return Complaint{"region", "has " + std::to_string(p.region.size()) + " corners",
                               "a plane needs 4 or more"};
            return std::nullopt;
          })
          .measure([](const Track&, const Measuring& m) -> Result<Measured> {
            ++measured_count();
            Motion motion{m.shot.width, m.shot.height, m.shot.first, {{0, 0}, {9, 0}, {9, 9}, {0, 9}}, {}};
            for (int f = m.shot.first; f <= m.shot.last; ++f) {
              auto picture = m.get(0, 0, f);
              if (!picture) return fail(picture.error());
              Pose pose;
              pose.frame = f;
              pose.frame_from_ref = translation(f, *picture->at(0, 0));
              motion.poses.push_back(pose);
            }
            return Measured(motion);
          }));
  k.push_back(Declare<Outlined>("outline", Family::maker, 1, "A matte that may follow a motion.")
                  .input({.name = "motion", .flow = Flow::motion, .doc = "What it follows.", .required = false})
                  .output({"matte", Flow::outline, "The matte."})
                  .extent([](const Outlined&, const Ask& a) { return a.shot.canvas(); })
                  .make([](const Outlined&, const Making& m) {
                    const float one = 1;
                    return Canvas::filled(m.rect, 1, &one).finish();
                  }));
  k.push_back(Declare<Sink>("collect", Family::sink, 1, "Keeps pictures for the test.")
                  .input({"image", Flow::picture, "What is kept."})
                  .param("file", &Sink::file,
                         {.doc = "Its name.", .role = Role::file_out, .required = true, .example = "\"out.####.png\""})
                  .deliver([](const Sink& p, const Delivering& d) -> Result<Problems> {
                    std::lock_guard lock(collected_mutex());
                    collected()[{p.file, d.frame}] = d.picture;
                    return Problems{};
                  }));
  return k;
}

}  // namespace pw::toy
