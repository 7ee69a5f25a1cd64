#include "comp/media/sequence.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <filesystem>
#include <map>
#include <optional>

#include "comp/media/frames.h"

namespace pw {
namespace {

namespace fs = std::filesystem;

constexpr int kMostDigits = 9;  // What an int holds.

size_t name_start(std::string_view path) {
  const size_t slash = path.rfind('/');
  return slash == std::string_view::npos ? 0 : slash + 1;
}

tl::unexpected<Problems> wrong(const std::string& path, std::string what, std::string remedy) {
  return fail({.what = std::move(what), .remedy = std::move(remedy), .file = path});
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }

// The number of a file name between head and tail, when it is written as the pattern would write it.
std::optional<int> number_of(const FilePattern& p, std::string_view file) {
  const std::string_view head = std::string_view(p.head).substr(name_start(p.head));
  if (file.size() <= head.size() + p.tail.size() || !file.starts_with(head) || !file.ends_with(p.tail)) return {};
  const std::string_view digits = file.substr(head.size(), file.size() - head.size() - p.tail.size());
  int v = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), v);
  if (error != std::errc() || end != digits.data() + digits.size()) return {};
  return fmt::format("{:0{}}", v, p.digits) == digits ? std::optional(v) : std::nullopt;
}

// A file name with its last run of digits made into hashes; nothing when it has none.
std::optional<std::string> hashed(std::string file) {
  const size_t stem = fs::path(file).stem().string().size();
  size_t last = stem;
  while (last > 0 && !is_digit(file[last - 1])) --last;
  if (last == 0) return {};
  size_t first = last;
  while (first > 0 && is_digit(file[first - 1])) --first;
  for (size_t i = first; i < last; ++i) file[i] = '#';
  return file;
}

// The pattern most files of the folder with the pattern's extension would fit.
std::optional<std::string> likely_pattern(const FilePattern& p) {
  const fs::path folder = fs::path(p.head + p.tail).parent_path();
  const std::string extension = fs::path(p.file(0)).extension().string();
  std::map<std::string, int> votes;
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(folder.empty() ? "." : folder, error))
    if (entry.path().extension() == extension)
      if (const auto h = hashed(entry.path().filename().string())) ++votes[*h];
  const auto most =
      std::max_element(votes.begin(), votes.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
  if (most == votes.end()) return {};
  return (folder / most->first).string();
}

}  // namespace

std::string FilePattern::file(int frame) const { return fmt::format("{}{:0{}}{}", head, frame, digits, tail); }

bool looks_like_pattern(std::string_view path) {
  return path.find_first_of("#%", name_start(path)) != std::string_view::npos;
}

Result<FilePattern> parse_pattern(const std::string& path) {
  FilePattern p{.text = path, .head = path.substr(0, name_start(path))};
  int found = 0;
  for (size_t i = p.head.size(); i < path.size();) {
    std::string& plain = found == 0 ? p.head : p.tail;
    if (path[i] == '#') {
      size_t end = i;
      while (end < path.size() && path[end] == '#') ++end;
      p.digits = static_cast<int>(std::min<size_t>(end - i, 99));
      ++found;
      i = end;
    } else if (path.compare(i, 2, "%%") == 0) {
      plain += '%';
      i += 2;
    } else if (path[i] == '%') {
      size_t end = i + 1;
      while (end < path.size() && is_digit(path[end])) ++end;
      const std::string width = path.substr(i + 1, end - i - 1);
      const bool is_number = end < path.size() && path[end] == 'd' && width.size() <= 3;
      if (!is_number || (!width.empty() && width[0] != '0'))
        return wrong(path, fmt::format("\"{}\" is no frame number", path.substr(i, end - i + 1)),
                     "write #### or %04d for a number of four digits, %% for a percent sign");
      p.digits = width.empty() ? 1 : std::max(1, std::stoi(width));
      ++found;
      i = end + 1;
    } else {
      plain += path[i++];
    }
  }
  if (found == 0) {
    const auto h = hashed(path.substr(name_start(path)));
    return wrong(path, "the name has no place for the frame number",
                 h ? fmt::format("write {}", path.substr(0, name_start(path)) + *h) : "write #### where the number is");
  }
  if (found > 1) return wrong(path, fmt::format("the name has {} places for the frame number", found), "leave one");
  if (p.digits > kMostDigits)
    return wrong(path, fmt::format("the frame number has {} digits", p.digits), "up to 9 are handled");
  return p;
}

Result<std::vector<int>> scan_frames(const FilePattern& pattern) {
  const fs::path parent = fs::path(pattern.head + pattern.tail).parent_path();
  const fs::path folder = parent.empty() ? fs::path(".") : parent;
  std::error_code error;
  if (!fs::is_directory(folder, error))
    return wrong(pattern.text, fmt::format("there is no folder {}", folder.string()), "check the path");
  std::vector<int> frames;
  fs::directory_iterator it(folder, error), end;
  for (; !error && it != end; it.increment(error))
    if (const auto n = number_of(pattern, it->path().filename().string())) frames.push_back(*n);
  if (error)
    return wrong(pattern.text, fmt::format("the folder {} cannot be read ({})", folder.string(), error.message()),
                 "change its permissions");
  if (frames.empty()) {
    const auto other = likely_pattern(pattern);
    return wrong(pattern.text, "no file fits the pattern",
                 other ? fmt::format("did you mean {}?", *other) : "check the name, and that the frames are there");
  }
  std::sort(frames.begin(), frames.end());
  return frames;
}

Result<Sequence> open_sequence(const std::string& path, const ReadOptions& options) {
  auto pattern = parse_pattern(path);
  if (!pattern) return fail(std::move(pattern.error()));
  auto frames = scan_frames(*pattern);
  if (!frames) return fail(std::move(frames.error()));
  auto first = inspect_still(pattern->file(frames->front()), options);
  if (!first) return fail(std::move(first.error()));
  return Sequence{*std::move(pattern), options, *std::move(frames), *std::move(first)};
}

Result<StillFile> read_frame(const Sequence& s, int frame) {
  const std::string file = s.pattern.file(frame);
  if (!std::binary_search(s.frames.begin(), s.frames.end(), frame))
    return fail({.what = "the frame is missing",
                 .remedy = fmt::format("there are {}", frames_text(s.frames)),
                 .file = file,
                 .frame = frame});
  auto still = read_still(file, s.options);
  if (!still) {
    for (Problem& p : still.error()) p.frame = frame;
    return still;
  }
  for (Problem& p : still->warnings) p.frame = frame;
  const StillInfo &now = still->info, &first = s.first;
  if (now.width != first.width || now.height != first.height)
    return fail({.what = fmt::format("the picture is {} x {}, but {} is {} x {}", now.width, now.height,
                                     s.pattern.file(s.frames.front()), first.width, first.height),
                 .remedy = "render it again at that size, or name the two runs as two nodes",
                 .file = file,
                 .frame = frame});
  return still;
}

}  // namespace pw
