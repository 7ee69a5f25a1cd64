#include "apps/open.h"

#include <fmt/format.h>

#include <csignal>
#include <filesystem>

#include "apps/say.h"
#include "comp/kinds/registry.h"
#include "comp/spec/nearest.h"

namespace pw {
namespace {

std::atomic<bool> stop{false};

void on_signal(int signal) {
  if (stop.exchange(true)) {
    std::signal(signal, SIG_DFL);
    std::raise(signal);
  }
}

// What is wrong with a value that stands nowhere in the file was given with --set.
void point_at_setting(Problem& p, const std::vector<std::string>& settings) {
  for (const std::string& s : settings) {
    const std::string key = s.substr(0, s.find('='));
    const std::string word = key.substr(key.find('.') + 1);
    if (p.what.starts_with(key) ||
        (key.starts_with(p.node + ".") && p.what.find("\"" + word + "\"") != std::string::npos))
      p.file = "--set " + s;
  }
}

std::optional<Scene> opened(Result<ShotText> text, const Common& common, double scale, Problems* told) {
  auto wrong = [&](const Problems& problems) {
    if (told)
      *told = problems;
    else if (common.json)
      fmt::print("{{\"problems\": {}}}\n", json_text(problems));
    say(problems);
    return std::nullopt;
  };
  if (!text) return wrong(text.error());
  for (const std::string& setting : common.settings) {
    text = with_setting(std::move(*text), setting);
    if (!text) return wrong(text.error());
  }
  auto checked = check(*text, all_kinds());
  if (!checked) {
    for (Problem& p : checked.error())
      if (p.line == 0) point_at_setting(p, common.settings);
    return wrong(checked.error());
  }
  auto scene = survey(std::move(checked->graph), scale);
  if (!scene) {
    for (Problem& p : scene.error())
      if (p.line == 0 && p.file == common.shot) point_at_setting(p, common.settings);
    return wrong(scene.error());
  }
  for (const Problems& warnings : {checked->warnings, scene->warnings}) {
    say(warnings);
    if (told) told->insert(told->end(), warnings.begin(), warnings.end());
  }
  return std::move(*scene);
}

}  // namespace

const std::atomic<bool>& stop_asked() { return stop; }

void watch_for_stop() {
  std::signal(SIGINT, on_signal);
  std::signal(SIGTERM, on_signal);
}

std::optional<Scene> open_shot(const Common& common, double scale, Problems* told) {
  return opened(read_shot(common.shot), common, scale, told);
}

std::optional<Scene> open_footage(const Common& common) {
  const std::string file = to_text(std::filesystem::absolute(common.shot).string());
  const std::string text =
      fmt::format("shot = {{ like = \"plate\" }}\nplate = {{ kind = \"footage\", file = {} }}\n", file);
  return opened(parse_shot(text, common.shot), common, 1, nullptr);
}

std::optional<std::vector<int>> nodes_named(const Scene& scene, const std::vector<std::string>& names) {
  std::vector<int> nodes;
  std::vector<std::string> known;
  for (const Node& n : scene.graph.nodes) known.push_back(n.name);
  for (const std::string& name : names) {
    const int n = scene.graph.find(name);
    if (n < 0) {
      const std::string meant = nearest(name, known);
      say({{.what = fmt::format("the shot has no node \"{}\"", name),
            .remedy = meant.empty() ? fmt::format("it has {}", fmt::join(known, ", "))
                                    : fmt::format("did you mean {}?", meant),
            .file = scene.graph.file}});
      return std::nullopt;
    }
    nodes.push_back(n);
  }
  if (names.empty())
    for (size_t n = 0; n < scene.graph.nodes.size(); ++n)
      if (scene.graph.nodes[n].kind->family == Family::sink) nodes.push_back(static_cast<int>(n));
  return nodes;
}

std::optional<std::vector<int>> node_looked_at(const Scene& scene, const std::string& name) {
  if (!name.empty()) return nodes_named(scene, {name});
  if (!scene.graph.like.empty()) return nodes_named(scene, {scene.graph.like});
  say({{.what = "the shot does not say which footage to look at",
        .remedy = "add --image NODE",
        .file = scene.graph.file}});
  return std::nullopt;
}

}  // namespace pw
