// A raw value of the shot file as the value a parameter takes.
#pragma once
#include "comp/graph/shot_text.h"
#include "comp/spec/kind.h"

namespace pw {

// The value, converted to the parameter's type and within its limits; or a problem at the value's position that names
// `node`.`parameter`. `beyond`: a text beyond its choices is left to Say::beyond.
Result<Value> read_value(const Raw& raw, const Param& param, const std::string& node, const std::string& file,
                         bool beyond = false);

}  // namespace pw
