// The CSV half of track/track_file.h.
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "track/telling.h"
#include "track/track_file.h"

namespace pw {
namespace {

struct Row {
  int line = 0, frame = 0;
  TrackStatus status = TrackStatus::good;
  std::vector<Point> corners;
};

struct Cell {
  std::string_view text;
  int column = 1;
};

std::vector<Cell> cells_of(std::string_view line) {
  std::vector<Cell> cells;
  size_t at = 0;
  for (;;) {
    const size_t end = std::min(line.find(',', at), line.size());
    size_t a = at, b = end;
    while (a < b && (line[a] == ' ' || line[a] == '\t')) ++a;
    while (b > a && (line[b - 1] == ' ' || line[b - 1] == '\t' || line[b - 1] == '\r')) --b;
    cells.push_back({line.substr(a, b - a), static_cast<int>(a) + 1});
    if (end == line.size()) return cells;
    at = end + 1;
  }
}

template <class T>
std::optional<T> number(std::string_view text) {
  T v{};
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), v);
  if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return v;
}

// Rows in the file's order.
Result<std::vector<Row>> rows_of(std::string_view text, const std::string& file) {
  Problems problems;
  std::vector<Row> rows;
  int line = 0;
  const auto say = [&](int column, std::string what, std::string remedy = "") {
    problems.push_back(
        {.what = std::move(what), .remedy = std::move(remedy), .file = file, .line = line, .column = column});
  };
  bool first = true;
  while (!text.empty() && problems.size() < 20) {
    ++line;
    const size_t end = std::min(text.find('\n'), text.size());
    const std::vector<Cell> cells = cells_of(text.substr(0, end));
    text.remove_prefix(std::min(end + 1, text.size()));
    if (cells.size() == 1 && cells[0].text.empty()) continue;
    const bool header = first && cells[0].text == "frame";
    first = false;
    if (header) continue;
    Row row{line};
    const auto frame = number<int>(cells[0].text);
    if (!frame) {
      say(cells[0].column, fmt::format("'{}' is no frame number", cells[0].text));
      continue;
    }
    row.frame = *frame;
    size_t positions = cells.size() - 1;
    if (positions % 2 == 1) {
      const auto status = track_status(cells.back().text);
      if (!status) {
        say(cells.back().column,
            fmt::format("'{}' is no status, and the row has an odd number of positions", cells.back().text),
            "give x and y of every corner, then good, weak, hidden, outside or lost");
        continue;
      }
      row.status = *status;
      --positions;
    }
    if (row.status != TrackStatus::lost) {
      for (size_t i = 1; i + 1 <= positions; i += 2) {
        const auto x = number<double>(cells[i].text), y = number<double>(cells[i + 1].text);
        if (!x || !y || !(std::abs(*x) <= 1e7) || !(std::abs(*y) <= 1e7)) {
          say(cells[i].column, fmt::format("corner {} is not two numbers", (i - 1) / 2));
          break;
        }
        row.corners.emplace_back(*x, *y);
      }
    }
    rows.push_back(std::move(row));
  }
  if (!problems.empty()) return fail(problems);
  return rows;
}

}  // namespace

std::string corners_csv(const Motion& motion) {
  std::string t = "frame";
  for (size_t i = 0; i < motion.region.size(); ++i) t += fmt::format(",x{0},y{0}", i);
  t += ",status\n";
  for (const Pose& p : motion.poses) {
    t += fmt::format("{}", p.frame);
    std::string corners;
    bool seen = p.status != TrackStatus::lost;
    for (size_t i = 0; i < motion.region.size() && seen; ++i) {
      const auto q = corner_seen(motion, p, i);
      seen = q.has_value();
      if (seen) corners += fmt::format(",{},{}", q->x(), q->y());
    }
    t += seen ? corners : std::string(2 * motion.region.size(), ',');
    t += fmt::format(",{}\n", name(seen ? p.status : TrackStatus::lost));
  }
  return t;
}

Result<Motion> parse_corners_csv(std::string_view text, const std::string& file, int width, int height, int reference) {
  auto rows = rows_of(text, file);
  if (!rows) return fail(rows.error());
  Problems problems;
  int line = 0;
  const auto say = [&](int column, std::string what, std::string remedy = "") {
    problems.push_back(
        {.what = std::move(what), .remedy = std::move(remedy), .file = file, .line = line, .column = column});
  };
  const auto home = std::find_if(rows->begin(), rows->end(), [&](const Row& r) { return r.frame == reference; });
  if (home == rows->end() || home->status == TrackStatus::lost) {
    say(0, fmt::format("there is no row for the reference frame {}", reference), "choose a frame that has corners");
    return fail(problems);
  }
  Motion m{width, height, reference, home->corners, {}};
  line = home->line;
  if (m.region.size() < 4 || m.region.size() > 1000) {
    say(0, fmt::format("the region has {} corners", m.region.size()), "a plane needs 4 or more");
    return fail(problems);
  }
  std::stable_sort(rows->begin(), rows->end(), [](const Row& a, const Row& b) { return a.frame < b.frame; });
  for (size_t i = 0; i < rows->size(); ++i) {
    const Row& r = (*rows)[i];
    line = r.line;
    if (i > 0 && (*rows)[i - 1].frame == r.frame) say(1, fmt::format("frame {} is given twice", r.frame));
    Pose p{r.frame};
    p.status = r.status;
    if (r.status != TrackStatus::lost) {
      if (r.corners.size() != m.region.size()) {
        say(0,
            fmt::format("frame {} has {} corners, the reference has {}", r.frame, r.corners.size(), m.region.size()));
        continue;
      }
      const auto h = homography(m.region, r.corners);
      if (!h) {
        say(0, fmt::format("the corners of frame {} lie on a line", r.frame));
        continue;
      }
      p.frame_from_ref = r.frame == reference ? Matrix3(Matrix3::Identity()) : *h;
    }
    m.poses.push_back(std::move(p));
  }
  if (!problems.empty()) return fail(problems);
  return m;
}

Result<std::vector<FixedCorners>> parse_fixed_corners(std::string_view text, const std::string& file) {
  auto rows = rows_of(text, file);
  if (!rows) return fail(rows.error());
  if (rows->empty())
    return fail(Problem{.what = "no frame has corners there", .remedy = "give a row for each of them", .file = file});
  Problems problems;
  std::vector<FixedCorners> fixed;
  for (Row& r : *rows) {
    if (r.status == TrackStatus::lost)
      problems.push_back({.what = fmt::format("frame {} has no corners", r.frame),
                          .remedy = "give them, or take its row out",
                          .file = file,
                          .line = r.line});
    fixed.push_back({r.frame, std::move(r.corners), file, r.line});
  }
  if (!problems.empty()) return fail(std::move(problems));
  return fixed;
}

}  // namespace pw
