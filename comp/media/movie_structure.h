// What a movie's container says about its own wholeness, read before a demuxer sees it: a copy that stopped half-way
// otherwise looks like a shorter movie.
//
// Layouts follow ISO/IEC 14496-12 (boxes), RFC 8794 (EBML) and RFC 9559 (Matroska), and the RIFF of AVI.
#pragma once
#include <cstddef>
#include <functional>
#include <optional>
#include <string>

#include "base/problem.h"

namespace pw {

// Reads up to `count` bytes at `offset` into `to`; returns how many there were.
using ReadAt = std::function<size_t(int64_t offset, unsigned char* to, size_t count)>;

// The problem with a movie of `size` bytes, if any; Problem::file is left empty. Containers other than the three above
// are taken as they are.
std::optional<Problem> movie_structure_problem(int64_t size, const ReadAt& read);

// The same of a file, which is then named. Problems also: not there, empty, not readable.
std::optional<Problem> movie_file_problem(const std::string& path);

}  // namespace pw
