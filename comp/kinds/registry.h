// Every kind there is, in the order of the list in CMakeLists.txt.
#pragma once
#include "comp/spec/kind.h"

namespace pw {

Kinds all_kinds();

}  // namespace pw
