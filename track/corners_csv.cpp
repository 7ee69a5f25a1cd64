#include <fmt/format.h>

#include <charconv>
#include <map>
#include <optional>

#include "track/track_file.h"

namespace pw {
namespace {

std::vector<std::string_view> fields(std::string_view line) {
  std::vector<std::string_view> out;
  for (size_t start = 0;;) {
    const size_t comma = line.find(',', start);
    std::string_view f = line.substr(start, comma == std::string_view::npos ? comma : comma - start);
    while (!f.empty() && (f.front() == ' ' || f.front() == '\t')) f.remove_prefix(1);
    while (!f.empty() && (f.back() == ' ' || f.back() == '\t' || f.back() == '\r')) f.remove_suffix(1);
    out.push_back(f);
    if (comma == std::string_view::npos) return out;
    start = comma + 1;
  }
}

template <class T>
std::optional<T> number(std::string_view s) {
  T v{};
  const auto [end, error] = std::from_chars(s.data(), s.data() + s.size(), v);
  if (error != std::errc() || end != s.data() + s.size()) return std::nullopt;
  return v;
}

struct Row {
  std::vector<Point> corners;
  TrackStatus status = TrackStatus::good;
  int line = 0;
};

// The least-squares homography between the corners; conditioned, so any number of them from 4 will do.
Result<Motion> assemble(const std::map<int, Row>& rows, const std::string& file, Motion m) {
  const auto ref = rows.find(m.reference);
  if (ref == rows.end())
    return fail(Problem{.what = fmt::format("there is no row for frame {}, the reference", m.reference),
                        .remedy = "name a frame of the file as the plane's reference",
                        .file = file});
  if (ref->second.status == TrackStatus::lost)
    return fail(Problem{.what = fmt::format("frame {}, the reference, is lost", m.reference),
                        .remedy = "name another frame as the plane's reference",
                        .file = file,
                        .line = ref->second.line});
  m.region = ref->second.corners;
  for (const auto& [frame, row] : rows) {
    Pose p;
    p.frame = frame;
    p.status = row.status;
    if (row.status != TrackStatus::lost && frame != m.reference) {
      const auto h = homography(std::span<const Point>(m.region), std::span<const Point>(row.corners));
      if (!h)
        return fail(Problem{.what = fmt::format("the corners of frame {} fix no motion", frame),
                            .remedy = "no three of them may lie on a line",
                            .file = file,
                            .line = row.line});
      p.frame_from_ref = *h;
    }
    m.poses.push_back(std::move(p));
  }
  return m;
}

}  // namespace

std::string corners_csv(const Motion& m) {
  std::string s = "frame";
  for (size_t i = 0; i < m.region.size(); ++i) s += fmt::format(",x{},y{}", i, i);
  s += ",status\n";
  for (const Pose& p : m.poses) {
    s += std::to_string(p.frame);
    for (const Point& corner : m.region) {
      const Point q = map(p.frame_from_ref, corner);
      s += p.status == TrackStatus::lost ? ",," : fmt::format(",{},{}", q.x(), q.y());
    }
    s += fmt::format(",{}\n", name(p.status));
  }
  return s;
}

Result<Motion> parse_corners_csv(std::string_view text, const std::string& file, int width, int height, int reference) {
  std::map<int, Row> rows;
  size_t corners = 0;
  int line_number = 0;
  auto wrong = [&](std::string what, std::string remedy) {
    return fail(Problem{.what = std::move(what), .remedy = std::move(remedy), .file = file, .line = line_number});
  };
  for (size_t start = 0; start < text.size();) {
    const size_t end = std::min(text.find('\n', start), text.size());
    const std::string_view line = text.substr(start, end - start);
    start = end + 1;
    ++line_number;
    std::vector<std::string_view> f = fields(line);
    if (f.size() == 1 && f[0].empty()) continue;
    const auto frame = number<int>(f[0]);
    if (!frame) {
      if (rows.empty()) continue;  // The header.
      return wrong(fmt::format("\"{}\" is no frame", f[0]), "each row begins with a whole frame number");
    }
    Row row{.line = line_number};
    if (f.size() % 2 == 0) {  // Frame, pairs, and a status behind them.
      if (!f.back().empty()) {
        const auto status = track_status(f.back());
        if (!status)
          return wrong(fmt::format("\"{}\" is no status", f.back()), "it may be good, weak, hidden, outside or lost");
        row.status = *status;
      }
      f.pop_back();
    }
    const size_t n = (f.size() - 1) / 2;
    if (corners == 0) corners = n;
    if (n < 4)
      return wrong(fmt::format("this row has {} corners", n), "a plane needs 4 or more: frame,x0,y0,x1,y1,...");
    if (n != corners)
      return wrong(fmt::format("this row has {} corners, the first has {}", n, corners),
                   "all rows have the same corners");
    for (size_t i = 0; i < n && row.status != TrackStatus::lost; ++i) {
      const auto x = number<double>(f[1 + 2 * i]), y = number<double>(f[2 + 2 * i]);
      if (!x || !y || !(std::abs(*x) < 1e7) || !(std::abs(*y) < 1e7))
        return wrong(fmt::format("corner {} is no position", i), "write x and y in pixels");
      row.corners.emplace_back(*x, *y);
    }
    if (!rows.emplace(*frame, std::move(row)).second)
      return wrong(fmt::format("frame {} is there twice", *frame), "keep one row for each frame");
    if (rows.size() > 1'000'000) return wrong("there are more than a million rows", "cut the file to the shot");
  }
  if (rows.empty())
    return fail(Problem{
        .what = "there are no corner positions in it", .remedy = "write rows frame,x0,y0,x1,y1,...", .file = file});
  return assemble(rows, file, Motion{width, height, reference, {}, {}});
}

}  // namespace pw
