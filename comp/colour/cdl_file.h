// A correction as a .cc file: the <ColorCorrection> element of the ASC CDL's XML, version 1.2 (namespace
// urn:ASC:CDL:v1.2; files of version 1.01 are read too).
#pragma once
#include <string>
#include <string_view>

#include "base/problem.h"
#include "comp/colour/cdl.h"

namespace pw {

// Problems, with line and column: no XML, another root element, a number that is missing, not a number or out of the
// standard's range, an element given twice. What is not given is neutral. `file` names the text in problems.
Result<Cdl> parse_cdl(std::string_view text, const std::string& file);

// Also: no such file; more than 1 MB.
Result<Cdl> load_cdl(const std::string& file);

// `about` is for a person to read; the standard has no place for the space a correction acts in.
std::string cdl_text(const Cdl& cdl, const std::string& id, const std::string& about);

}  // namespace pw
