// What a file is recognised by: a result stored for it holds while this stays the same.
#pragma once
#include <string>

namespace pw {

// Name, size and time of the last change, as text; "NAME missing" when there is no such file.
std::string file_identity(const std::string& path);

}  // namespace pw
