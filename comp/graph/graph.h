// A checked shot: nodes with their kinds, parameters and connections, in an order in which every node stands after its
// inputs.
#pragma once
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "comp/graph/shot_text.h"
#include "comp/spec/kind.h"

namespace pw {

struct Link {
  int node = 0;    // Index into Graph::nodes.
  int output = 0;  // Of that node's kind.
};

struct Node {
  std::string name;
  const Kind* kind = nullptr;
  std::shared_ptr<const void> params;
  std::vector<std::vector<Link>> inputs;  // [input][item]
  Position at;
  std::vector<std::pair<std::string, Position>> keys;  // Where each input or parameter stands in the file.

  Position where(std::string_view key) const;
};

struct Graph {
  std::string file;
  std::vector<Node> nodes;  // Each after its inputs.
  // The [shot] table, where it stands.
  std::string like;  // Name of the footage that gives size, rate and frames.
  Shot given;        // What the table says; width 0 or rate 0: not said.
  bool frames_given = false;
  std::optional<Position> ocio_at;  // Where it names a configuration of colour.
  Position shot_at;

  int find(std::string_view name) const;  // -1: none.
};

struct Checked {
  Graph graph;
  Problems warnings;
};

// Text -> graph. Looks at no file. Every problem found is returned, with file, line and column.
Result<Checked> check(const ShotText& text, Kinds kinds);

}  // namespace pw
