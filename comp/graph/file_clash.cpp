#include "comp/graph/file_clash.h"

#include <fmt/format.h>

#include <cctype>
#include <filesystem>

namespace pw {
namespace {

// A name as parts: letters, and places where digits of a frame number stand.
struct Named {
  size_t node;
  std::string_view key;
  bool written;
  std::string pattern;  // Frame-number places as one '\1' each.
};

std::string frame_places(std::string s) {
  std::string out;
  for (size_t i = 0; i < s.size();) {
    size_t j = i;
    if (s[i] == '#') {
      while (j < s.size() && s[j] == '#') ++j;
    } else if (s[i] == '%') {
      for (++j; j < s.size() && std::isdigit(static_cast<unsigned char>(s[j]));) ++j;
      j = j < s.size() && s[j] == 'd' ? j + 1 : i;
    }
    if (j > i)
      out += '\1', i = j;
    else
      out += s[i++];
  }
  return out;
}

// Whether some frame gives both patterns the same name.
bool can_meet(std::string_view a, std::string_view b) {
  size_t i = 0, j = 0;
  auto digits = [](std::string_view s, size_t from) {
    size_t n = 0;
    while (from + n < s.size() && std::isdigit(static_cast<unsigned char>(s[from + n]))) ++n;
    return n;
  };
  while (i < a.size() && j < b.size()) {
    if (a[i] == '\1' && b[j] == '\1') {
      ++i, ++j;
    } else if (a[i] == '\1') {
      const size_t n = digits(b, j);
      if (n == 0) return false;
      ++i, j += n;
    } else if (b[j] == '\1') {
      const size_t n = digits(a, i);
      if (n == 0) return false;
      ++j, i += n;
    } else if (a[i] != b[j]) {
      return false;
    } else {
      ++i, ++j;
    }
  }
  return i == a.size() && j == b.size();
}

}  // namespace

Problems file_clashes(const Graph& graph) {
  std::vector<Named> names;
  const std::string folder = std::filesystem::path(graph.file).parent_path().string();
  for (size_t n = 0; n < graph.nodes.size(); ++n)
    for (const Param& p : graph.nodes[n].kind->params) {
      if (p.say.role == Role::plain) continue;
      const auto file = std::get<std::string>(p.get(graph.nodes[n].params.get()));
      if (file.empty()) continue;
      std::error_code error;
      // Links are followed: two names may mean one folder.
      auto whole = std::filesystem::absolute(std::filesystem::path(folder) / file, error).lexically_normal();
      if (const auto real = std::filesystem::weakly_canonical(whole, error); !error) whole = real;
      names.push_back({n, p.name, p.say.role == Role::file_out, frame_places(whole.string())});
    }
  Problems problems;
  for (size_t i = 0; i < names.size(); ++i)
    for (size_t j = 0; j < names.size(); ++j) {
      const Named &out = names[i], &other = names[j];
      if (i == j || !out.written || (other.written && j > i) || !can_meet(out.pattern, other.pattern)) continue;
      const Node &node = graph.nodes[out.node], &second = graph.nodes[other.node];
      const Position at = node.where(out.key);
      problems.push_back(
          {.what = other.written ? fmt::format("{} and {} write the same files", second.name, node.name)
                                 : fmt::format("{} would write over the files that {} reads", node.name, second.name),
           .remedy = fmt::format("give {}.{} another name or folder", node.name, out.key),
           .file = graph.file,
           .line = at.line,
           .column = at.column,
           .node = node.name});
    }
  return problems;
}

}  // namespace pw
