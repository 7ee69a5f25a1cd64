#include "track/track_file.h"

#include <fmt/format.h>

#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "track/json_tree.h"

namespace pw {
namespace {

constexpr double kLargestFrame = 1e8, kLargestSize = 1e5, kLargestPosition = 1e7;
constexpr size_t kMostCorners = 1000;

std::string point_text(const Point& p) { return fmt::format("[{}, {}]", p.x(), p.y()); }

std::string quoted(std::string_view text) {
  std::string t = "\"";
  for (char c : text) {
    if (c == '"' || c == '\\')
      t += '\\', t += c;
    else if (static_cast<unsigned char>(c) < 0x20)
      t += fmt::format("\\u{:04x}", static_cast<unsigned>(c));
    else
      t += c;
  }
  return t + '"';
}

std::string matrix_text(const Matrix3& m) {
  std::string t = "[";
  for (int r = 0; r < 3; ++r) t += fmt::format("{}[{}, {}, {}]", r ? ", " : "", m(r, 0), m(r, 1), m(r, 2));
  return t + "]";
}

// Collects problems of one file; each read returns a harmless value after a problem, so that all can be told at once.
struct Reading {
  std::string file;
  Problems problems;

  void say(const Json& at, std::string what, std::string remedy = "") {
    if (problems.size() < 20)
      problems.push_back(
          {.what = std::move(what), .remedy = std::move(remedy), .file = file, .line = at.line, .column = at.column});
  }
  const Json* want(const Json& in, std::string_view key, Json::Kind kind, const std::string& of) {
    const Json* v = in.find(key);
    if (!v) return say(in, fmt::format("{} has no '{}'", of, key)), nullptr;
    if (v->kind != kind) return say(*v, fmt::format("'{}' is {}, not {}", key, name(v->kind), name(kind))), nullptr;
    return v;
  }
  double number(const Json& v, const std::string& what, double limit) {
    if (v.kind != Json::Kind::number || !std::isfinite(v.number) || !(std::abs(v.number) <= limit))
      return say(v, fmt::format("{} is not a number between {} and {}", what, -limit, limit)), 0;
    return v.number;
  }
  int whole(const Json& v, const std::string& what, double low, double high) {
    if (v.kind != Json::Kind::number || !(v.number >= low && v.number <= high) || v.number != std::floor(v.number))
      return say(v, fmt::format("{} is not a whole number from {} to {}", what, low, high)), int(low);
    return static_cast<int>(v.number);
  }
  Matrix3 matrix(const Json& v, const std::string& what) {
    Matrix3 m = Matrix3::Identity();
    bool shape = v.kind == Json::Kind::list && v.list.size() == 3;
    for (const Json& row : v.list) shape = shape && row.kind == Json::Kind::list && row.list.size() == 3;
    if (!shape) return say(v, what + " is not three rows of three numbers"), m;
    const size_t before = problems.size();
    for (int r = 0; r < 3; ++r)
      for (int c = 0; c < 3; ++c) m(r, c) = number(v.list[r].list[c], "an element of " + what, 1e9);
    if (problems.size() != before) return Matrix3::Identity();
    if (!(std::abs(m(2, 2)) > 1e-12) || !(std::abs(m.determinant()) > 1e-15))
      return say(v, what + " is not a homography that can be inverted"), Matrix3(Matrix3::Identity());
    return normalised(m);
  }
  // Size, reference and region, which both formats share.
  Motion head(const Json& root, const std::string& of) {
    Motion m;
    if (const Json* size = want(root, "size", Json::Kind::list, of)) {
      if (size->list.size() != 2) {
        say(*size, "'size' is not [width, height]");
      } else {
        m.width = whole(size->list[0], "the width", 1, kLargestSize);
        m.height = whole(size->list[1], "the height", 1, kLargestSize);
      }
    }
    if (const Json* r = want(root, "reference", Json::Kind::number, of))
      m.reference = whole(*r, "'reference'", -kLargestFrame, kLargestFrame);
    if (const Json* region = want(root, "region", Json::Kind::list, of)) {
      if (region->list.size() < 4 || region->list.size() > kMostCorners)
        say(*region, fmt::format("the region has {} corners", region->list.size()), "a plane needs 4 or more");
      else
        for (const Json& c : region->list) {
          if (c.kind != Json::Kind::list || c.list.size() != 2) {
            say(c, "a corner of the region is not [x, y]");
            continue;
          }
          const double x = number(c.list[0], "a corner's x", kLargestPosition);
          const double y = number(c.list[1], "a corner's y", kLargestPosition);
          m.region.emplace_back(x, y);
        }
    }
    return m;
  }
  // What bends the pictures, if anything does.
  void bend(const Json& root, Motion& m) {
    if (const Json* lens = root.find("lens")) {
      if (lens->kind != Json::Kind::list || lens->list.empty() || lens->list.size() > 2)
        return say(*lens, "'lens' is not [k1] or [k1, k2]");
      m.lens.k1 = number(lens->list[0], "k1", 1);
      if (lens->list.size() == 2) m.lens.k2 = number(lens->list[1], "k2", 1);
      if (!covers_picture(m.lens)) say(*lens, "this lens folds the picture over", "a smaller k1 or k2");
    }
    if (const Json* sd = root.find("lens_sd")) {
      if (sd->kind != Json::Kind::list || sd->list.size() != 2) return say(*sd, "'lens_sd' is not [k1, k2]");
      m.lens.k1_sd = std::abs(number(sd->list[0], "the deviation of k1", 1));
      m.lens.k2_sd = std::abs(number(sd->list[1], "the deviation of k2", 1));
    }
    if (const Json* r = root.find("readout")) m.readout = number(*r, "'readout'", 1);
    if (const Json* r = root.find("readout_sd")) m.readout_sd = std::abs(number(*r, "'readout_sd'", 1));
  }
  std::vector<Point> points(const Json& v, const std::string& of, size_t count) {
    std::vector<Point> all;
    bool shape = v.kind == Json::Kind::list && v.list.size() == count;
    for (const Json& c : v.list) shape = shape && c.kind == Json::Kind::list && c.list.size() == 2;
    if (!shape) return say(v, fmt::format("{} are not {} pairs [x, y]", of, count)), all;
    for (const Json& c : v.list)
      all.emplace_back(number(c.list[0], "a corner's x", kLargestPosition),
                       number(c.list[1], "a corner's y", kLargestPosition));
    return all;
  }
};

Pose read_pose(Reading& in, const Json& f, size_t corners) {
  Pose p;
  if (f.kind != Json::Kind::table) {
    in.say(f, fmt::format("a frame is {}, not a table", name(f.kind)));
    return p;
  }
  if (const Json* n = in.want(f, "frame", Json::Kind::number, "a frame"))
    p.frame = in.whole(*n, "'frame'", -kLargestFrame, kLargestFrame);
  const std::string of = fmt::format("frame {}", p.frame);
  if (const Json* h = in.want(f, "frame_from_ref", Json::Kind::list, of))
    p.frame_from_ref = in.matrix(*h, "frame_from_ref");
  if (const Json* s = in.want(f, "status", Json::Kind::text, of)) {
    if (const auto status = track_status(s->text))
      p.status = *status;
    else
      in.say(*s, fmt::format("'{}' is no status", s->text), "use good, weak, hidden, outside or lost");
  }
  if (const Json* r = f.find("residual")) p.residual = in.number(*r, "'residual'", 1e9);
  if (const Json* r = f.find("reason"); r && r->kind == Json::Kind::text) p.reason = r->text;
  if (const Json* c = f.find("corner_covariance"); c && c->kind != Json::Kind::null) {
    if (c->kind != Json::Kind::list || c->list.size() != 4 * corners * corners) {
      in.say(*c, fmt::format("'corner_covariance' is not a list of {} numbers", 4 * corners * corners));
    } else {
      for (const Json& v : c->list)
        p.corner_covariance.push_back(in.number(v, "an element of 'corner_covariance'", 1e12));
    }
  }
  return p;
}

}  // namespace

std::string track_text(const Motion& m) {
  std::string t = fmt::format(
      "{{\"format\": \"platewright-track\", \"version\": 1, \"size\": [{}, {}], \"reference\": {},\n"
      " \"region\": [",
      m.width, m.height, m.reference);
  for (size_t i = 0; i < m.region.size(); ++i) t += (i ? ", " : "") + point_text(m.region[i]);
  t += "],\n";
  if (!m.lens.none()) t += fmt::format(" \"lens\": [{}, {}],\n", m.lens.k1, m.lens.k2);
  if (m.lens.k1_sd != 0) t += fmt::format(" \"lens_sd\": [{}, {}],\n", m.lens.k1_sd, m.lens.k2_sd);
  if (m.readout != 0) t += fmt::format(" \"readout\": {},\n", m.readout);
  if (m.readout_sd != 0) t += fmt::format(" \"readout_sd\": {},\n", m.readout_sd);
  if (!m.chosen.empty()) t += fmt::format(" \"chosen\": {},\n", quoted(m.chosen));
  t += " \"frames\": [";
  for (size_t i = 0; i < m.poses.size(); ++i) {
    const Pose& p = m.poses[i];
    t += fmt::format("{}\n  {{\"frame\": {}, \"frame_from_ref\": {}, \"status\": \"{}\", \"residual\": {}",
                     i ? "," : "", p.frame, matrix_text(p.frame_from_ref), name(p.status), p.residual);
    if (!p.corner_covariance.empty())
      t += fmt::format(", \"corner_covariance\": [{}]", fmt::join(p.corner_covariance, ", "));
    if (!p.reason.empty()) t += ", \"reason\": " + quoted(p.reason);
    t += "}";
  }
  return t + "]}\n";
}

Result<Motion> parse_track(std::string_view text, const std::string& file) {
  auto root = parse_json(text, file);
  if (!root) return fail(root.error());
  Reading in{file, {}};
  if (root->kind != Json::Kind::table) {
    in.say(*root, "a track file is a table");
    return fail(in.problems);
  }
  const Json* format = root->find("format");
  if (!format || format->text != "platewright-track") {
    in.say(format ? *format : *root, "this is no track file: its 'format' is not 'platewright-track'");
    return fail(in.problems);
  }
  if (const Json* v = in.want(*root, "version", Json::Kind::number, "the track file"); v && v->number != 1)
    in.say(*v, fmt::format("the track file has version {}", v->number), "this program reads version 1");
  Motion m = in.head(*root, "the track file");
  in.bend(*root, m);
  if (const Json* c = root->find("chosen"); c && c->kind == Json::Kind::text) m.chosen = c->text;
  if (const Json* frames = in.want(*root, "frames", Json::Kind::list, "the track file"))
    for (const Json& f : frames->list) {
      Pose p = read_pose(in, f, m.region.size());
      if (!m.poses.empty() && p.frame <= m.poses.back().frame)
        in.say(f, fmt::format("frame {} follows frame {}", p.frame, m.poses.back().frame), "frames must ascend");
      m.poses.push_back(std::move(p));
    }
  if (!in.problems.empty()) return fail(in.problems);
  return m;
}

Result<Motion> parse_truth(std::string_view text, const std::string& file) {
  auto root = parse_json(text, file);
  if (!root) return fail(root.error());
  Reading in{file, {}};
  if (root->kind != Json::Kind::table) {
    in.say(*root, "a truth file is a table");
    return fail(in.problems);
  }
  Motion m = in.head(*root, "the truth file");
  if (const Json* frames = in.want(*root, "frames", Json::Kind::table, "the truth file"))
    for (const auto& [key, value] : frames->table) {
      Pose p;
      const bool digits = !key.empty() && key.size() <= 8 && key.find_first_not_of("0123456789") == std::string::npos;
      if (!digits) {
        in.say(value, fmt::format("'{}' is no frame number", key));
        continue;
      }
      p.frame = std::stoi(key);
      p.frame_from_ref = in.matrix(value, "frame " + key);
      m.poses.push_back(std::move(p));
    }
  if (const Json* corners = root->find("corners")) {
    if (corners->kind != Json::Kind::table)
      in.say(*corners, fmt::format("'corners' is {}, not a table", name(corners->kind)));
    for (const auto& [key, value] : corners->table) {
      const auto pose = std::find_if(m.poses.begin(), m.poses.end(),
                                     [&key = key](const Pose& p) { return std::to_string(p.frame) == key; });
      if (pose == m.poses.end())
        in.say(value, fmt::format("'corners' has a frame '{}' that 'frames' has not", key));
      else
        pose->corners = in.points(value, fmt::format("the corners of frame {}", key), m.region.size());
    }
  }
  if (!in.problems.empty()) return fail(in.problems);
  std::sort(m.poses.begin(), m.poses.end(), [](const Pose& a, const Pose& b) { return a.frame < b.frame; });
  for (size_t i = 1; i < m.poses.size(); ++i)
    if (m.poses[i].frame == m.poses[i - 1].frame)
      return fail(Problem{.what = fmt::format("frame {} is given twice", m.poses[i].frame), .file = file});
  return m;
}

}  // namespace pw
