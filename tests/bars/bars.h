// Bars: figures that were asked for, and what was reached. A test calls bar() with what it measured now; it fails when
// that is worse than the row of tests/bars.toml says was reached, and the figure is left for the report at the end of
// the run.
#pragma once
#include <string>

namespace pw {

// Throws std::runtime_error when tests/bars.toml has no such row.
void bar(const std::string& name, double measured);

}  // namespace pw
