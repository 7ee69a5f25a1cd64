#include "comp/graph/measure.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>

#include "apps/open.h"
#include "apps/say.h"
#include "apps/track_page.h"
#include "comp/media/whole_file.h"
#include "track/track_file.h"

namespace pw {
namespace {

void print_motion(const std::string& name, const Motion& m) {
  std::map<TrackStatus, int> count;
  double worst = 0;
  int at = m.reference;
  for (const Pose& p : m.poses) {
    ++count[p.status];
    if (p.status != TrackStatus::lost && p.residual > worst) worst = p.residual, at = p.frame;
  }
  fmt::print("{}: {} frames", name, m.poses.size());
  for (const auto& [status, n] : count) fmt::print(", {} {}", n, pw::name(status));
  fmt::print("; largest residual {:.4f} at frame {}\n", worst, at);
  for (const Pose& p : m.poses)
    if (p.status != TrackStatus::good)
      fmt::print("  frame {}: {}{}{}\n", p.frame, pw::name(p.status), p.reason.empty() ? "" : ", ", p.reason);
}

void print_still(const std::string& name, const Still& s) {
  fmt::print("{}: {}x{}", name, s.picture.window().width(), s.picture.window().height());
  if (!s.frames.empty()) fmt::print(" from frames {}", fmt::join(s.frames, ", "));
  fmt::print(", {:.2f} % not covered\n", 100 * s.uncovered_share);
}

// Darkest and brightest frame, by the mean of green over the plate.
void print_light(const std::string& name, const Light& l) {
  if (l.frames.empty()) return;
  std::vector<double> mean;
  double seen = 0;
  for (const LightFrame& f : l.frames) {
    double sum = 0;
    for (size_t i = 1; i < f.stops.size(); i += 3) sum += f.stops[i];
    mean.push_back(3 * sum / static_cast<double>(f.stops.size()));
    seen += f.seen_share / static_cast<double>(l.frames.size());
  }
  const auto [low, high] = std::minmax_element(mean.begin(), mean.end());
  fmt::print("{}: {} frames, from {:+.2f} stops at frame {} to {:+.2f} at frame {}; {:.0f} % of the plate seen\n", name,
             l.frames.size(), *low, l.frames[low - mean.begin()].frame, *high, l.frames[high - mean.begin()].frame,
             100 * seen);
}

void print_noise(const std::string& name, const Noise& n) {
  fmt::print("{}: at 18 % grey {:.5f} red, {:.5f} green, {:.5f} blue; {}; channels {:.2f} {:.2f} {:.2f} alike", name,
             n.sigma(0, 0.18), n.sigma(1, 0.18), n.sigma(2, 0.18),
             n.reach ? fmt::format("hangs together over {} px", n.reach) : "each pixel its own", n.between[0][1],
             n.between[0][2], n.between[1][2]);
  if (n.rain[1] > 0) fmt::print("; the rain adds {:.1f} % of the light around", 100 * n.rain[1]);
  fmt::print("\n");
}

}  // namespace

int run(const MeasureCommand& c) {
  const auto memory = memory_limit(c.memory);
  if (!memory) return kMistake;
  const bool csv = c.out.ends_with(".csv");
  if (!c.out.empty() && !csv && !c.out.ends_with(".json")) {
    say({{.what = "a motion is written as .json (track file) or .csv (corner positions)",
          .remedy = "give --out one of these endings",
          .file = c.out}});
    return kMistake;
  }
  if (!c.report.empty() && !c.report.ends_with(".html")) {
    say({{.what = "a report is written as .html", .remedy = "give --report this ending", .file = c.report}});
    return kMistake;
  }
  const auto scene = open_shot(c, 1);
  if (!scene) return kMistake;
  std::vector<std::string> names = c.nodes;
  if (names.empty())
    for (const Node& n : scene->graph.nodes)
      if (c.report.empty() ? n.kind->family == Family::measure || n.kind->family == Family::bake : gives_motion(n))
        names.push_back(n.name);
  const auto nodes = nodes_named(*scene, names);
  if (!nodes) return kMistake;
  if (!c.report.empty() && !may_be_reported(*scene, names.empty() ? std::vector<int>() : *nodes, c.report))
    return kMistake;
  const auto measures = [&](int n) {
    const Family f = scene->graph.nodes[n].kind->family;
    return f == Family::measure || f == Family::bake;
  };
  if (std::none_of(nodes->begin(), nodes->end(), measures)) {
    say({{.what = "there is nothing to measure",
          .remedy = "name a plane, a still or another measure",
          .file = c.shot}});
    return kMistake;
  }
  watch_for_stop();
  const auto runner = arena(c.threads);
  std::optional<Progress> progress;
  std::string now;
  LoadWarnings loads;
  const auto results = measure(*scene, *nodes,
                               {.runner = *runner,
                                .memory_limit = *memory,
                                .reuse = !c.again,
                                .progress =
                                    [&](const std::string& node, int done, int total) {
                                      if (node != now) progress.emplace(now = node, c.json);
                                      progress->at(done, total);
                                      return !stop_asked();
                                    },
                                .loads = &loads});
  progress.reset();
  say(loads.all());
  if (!results) return say(results.error()), stop_asked() ? kStopped : kMistake;
  say(results->remarks);
  int status = kDone;
  if (!c.report.empty())
    status = write_track_page(*scene, *results, *nodes, c.report, {.runner = *runner, .memory_limit = *memory}, c.json);
  if (status != kDone && status != kSomeFailed) return status;
  if (c.out.empty()) {
    nlohmann::ordered_json steps = nlohmann::ordered_json::array();
    for (const MeasuredNode& m : results->done) {
      const std::string& name = scene->graph.nodes[m.node].name;
      steps.push_back({{"node", name}, {"reused", m.reused}, {"seconds", m.seconds}});
      if (c.json) continue;
      if (const auto* motion = std::get_if<Motion>(&results->measured[m.node])) print_motion(name, *motion);
      if (const auto* still = std::get_if<Still>(&results->measured[m.node])) print_still(name, *still);
      if (const auto* light = std::get_if<Light>(&results->measured[m.node])) print_light(name, *light);
      if (const auto* noise = std::get_if<Noise>(&results->measured[m.node])) print_noise(name, *noise);
    }
    if (c.json) fmt::print("{}\n", nlohmann::ordered_json{{"measured", steps}}.dump());
    if (!c.json && !c.report.empty()) fmt::print("{}\n", c.report);
    return status;
  }
  if (nodes->size() != 1 || !std::holds_alternative<Motion>(results->measured[nodes->front()])) {
    say({{.what = "--out takes the motion of one node", .remedy = "name one plane node", .file = c.shot}});
    return kMistake;
  }
  const Motion& motion = std::get<Motion>(results->measured[nodes->front()]);
  const std::string text = csv ? corners_csv(motion) : track_text(motion);
  const auto* bytes = reinterpret_cast<const unsigned char*>(text.data());
  if (auto written = write_whole_file(c.out, {bytes, text.size()}); !written) return say(written.error()), kMistake;
  fmt::print("{}\n", c.out);
  if (!c.report.empty()) fmt::print("{}\n", c.report);
  return status;
}

}  // namespace pw
