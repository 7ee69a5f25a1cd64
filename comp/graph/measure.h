// Stages: every measure and bake the wanted nodes lean on, each after what it leans on; a stored result is reused while
// what it came from is unchanged.
#pragma once
#include <functional>

#include "comp/graph/load_warnings.h"
#include "comp/graph/plan.h"

namespace pw {

struct MeasuredNode {
  int node;
  bool reused;
  double seconds;
};

struct MeasureOptions {
  const Runner& runner;
  int64_t memory_limit = int64_t{4} << 30;  // Bytes.
  bool reuse = true;                        // False: measure again even what is stored.
  bool keep_going = false;                  // A measure that fails takes only what leans on it with it.
  // Called as a measure goes on; false stops it.
  std::function<bool(const std::string& node, int done, int total)> progress = {};
  std::function<void(const MeasuredNode&)> measured = {};  // Called after each.
  LoadWarnings* loads = nullptr;                           // Gathers what reading frames warns of.
};

struct Results {
  std::vector<Measured> measured;  // Per node.
  std::vector<MeasuredNode> done;  // In order.
  Problems remarks;                // Warnings and notes of the results.
  std::vector<bool> without;       // Per node: it, or what it leans on, could not be measured (when keep_going).
  Problems problems;               // Why.
};

// Measures what the nodes of `wanted` lean on, themselves included. Stored beside the shot in NAME.measured/. The
// folder is made when the first result is stored. Problems: a measure that could not be made, a store that cannot be
// written.
Result<Results> measure(const Scene& scene, const std::vector<int>& wanted, const MeasureOptions& options);

// Path stem under which a node's result is stored: FOLDER/NAME.measured/NODE.
std::string stored_stem(const Graph& graph, const std::string& node);

}  // namespace pw
