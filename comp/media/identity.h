// What a file is recognised by: a result stored for it holds while this stays the same.
#pragma once
#include <string>

namespace pw {

// Name without its folder, size and time of the last change, as text; "NAME missing" when there is no such file. A
// folder that is moved, or called by another name, holds the same files.
std::string file_identity(const std::string& path);

}  // namespace pw
