// What the command can print about itself, made from its own options, so that it cannot disagree with them.
#pragma once
#include <CLI/CLI.hpp>
#include <string>

namespace pw {

// A manual page, in the man macros of roff.
std::string manual_page(const CLI::App& app);

// A script that lets bash complete commands and options; files elsewhere.
std::string bash_completion(const CLI::App& app);

}  // namespace pw
