// What the declarations say, for people and for editors.
#pragma once
#include <string>

#include "comp/spec/kind.h"

namespace pw {

// Every kind with its sentence, by family; for the command line.
std::string list_of_kinds(Kinds kinds);

// One kind: inputs, outputs, parameters with units, limits and defaults, and an example; for the command line.
std::string help_of_kind(const Kind& kind);

// All kinds as Markdown (docs/kinds.md).
std::string page_of_kinds(Kinds kinds);

// A node of that kind as it could stand in a shot file: every required input and parameter, and those with an example.
std::string example_of_kind(const Kind& kind);

// JSON Schema (draft 2020-12) of a shot file, for editors that check TOML by schema.
std::string schema_of_shot(Kinds kinds);

// Words of the language of shot files for a fuzzer's dictionary, one quoted word a line.
std::string fuzz_dictionary(Kinds kinds);

}  // namespace pw
