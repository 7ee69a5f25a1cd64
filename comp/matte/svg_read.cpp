#include "comp/matte/svg_read.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <pugixml.hpp>

#include "comp/matte/svg_element.h"
#include "comp/matte/svg_path.h"
#include "comp/matte/svg_place.h"
#include "comp/matte/svg_safety.h"

namespace pw {
namespace {

constexpr int kMostDepth = 200;
constexpr size_t kMostProblems = 10;

// What an element hands down to those inside of it.
struct Inherited {
  Matrix3 place = Matrix3::Identity();  // drawing_from_element.
  FillRule rule = FillRule::nonzero;
  std::optional<int> frame;
  int hidden_depth = -1, invisible_depth = -1;  // By display and by visibility.
};

class Reader {
 public:
  Reader(std::string_view text, std::string file) : text_(text) { drawing_.file = std::move(file); }

  Result<SvgDrawing> read() {
    if (auto p = svg_unsafe_text(text_)) return refuse(0, std::move(*p));
    pugi::xml_document document;
    const auto parsed = document.load_buffer(
        text_.data(), text_.size(), pugi::parse_default | pugi::parse_doctype | pugi::parse_pi, pugi::encoding_utf8);
    if (!parsed)
      return refuse(static_cast<size_t>(std::max<ptrdiff_t>(parsed.offset, 0)),
                    {.what = fmt::format("is not well-formed XML ({})", parsed.description()),
                     .remedy = "save it again as a plain SVG drawing"});
    const pugi::xml_node root = document.document_element();
    if (svg_name(root) != "svg")
      return refuse(offset(root), {.what = fmt::format("is not an SVG drawing; it holds <{}>", root.name()),
                                   .remedy = "save it as a plain SVG drawing"});
    if (auto bad = svg_unsafe(document)) return refuse(bad->offset, std::move(bad->problem));
    Inherited top;
    if (size_of_page(root, top)) visit(root, top, 0);
    if (!problems_.empty()) return fail(std::move(problems_));
    return std::move(drawing_);
  }

 private:
  static size_t offset(pugi::xml_node n) { return static_cast<size_t>(std::max<ptrdiff_t>(n.offset_debug(), 0)); }

  Problem placed(size_t offset, Problem p) const {
    p.file = drawing_.file;
    p.line = 1 + static_cast<int>(std::count(text_.begin(), text_.begin() + std::min(offset, text_.size()), '\n'));
    return p;
  }
  tl::unexpected<Problems> refuse(size_t offset, Problem p) { return fail(placed(offset, std::move(p))); }
  bool wrong(pugi::xml_node n, Problem p) {
    problems_.push_back(placed(offset(n), std::move(p)));
    given_up_ = problems_.size() >= kMostProblems;
    return false;
  }

  // The size of the whole drawing and what maps its coordinates to it.
  bool size_of_page(pugi::xml_node root, Inherited& top) {
    std::optional<double> side[2];
    const char* const names[2] = {"width", "height"};
    for (int i = 0; i < 2; ++i) {
      const std::string_view text = root.attribute(names[i]).value();
      if (text.empty() || text == "auto" || text.back() == '%') continue;  // As large as its view box.
      side[i] = parse_length(text);
      if (!side[i] || !(*side[i] > 0) || *side[i] > kFarthest)
        return wrong(root, {.what = fmt::format("the drawing's {}=\"{}\" is no size", names[i], text),
                            .remedy = "give the plate's size in pixels"});
    }
    const pugi::xml_attribute attribute = root.attribute("viewBox");
    std::optional<ViewBox> box;
    if (attribute) {
      box = parse_view_box(attribute.value());
      if (!box)
        return wrong(root, {.what = fmt::format("viewBox=\"{}\" is not four numbers of which the last two are above 0",
                                                attribute.value())});
    }
    if (box && !side[0]) side[0] = side[1] ? *side[1] * box->width / box->height : box->width;
    if (box && !side[1]) side[1] = *side[0] * box->height / box->width;
    drawing_.width = side[0].value_or(0);
    drawing_.height = side[1].value_or(0);
    if (!box) return true;
    const auto fit = fitted(*box, *side[0], *side[1], root.attribute("preserveAspectRatio").value());
    if (!fit)
      return wrong(root, {.what = fmt::format("preserveAspectRatio=\"{}\" cannot be read",
                                              root.attribute("preserveAspectRatio").value())});
    top.place = *fit;
    return true;
  }

  void visit(pugi::xml_node n, Inherited from, int depth) {
    if (given_up_) return;
    if (depth > kMostDepth)
      return void(
          wrong(n, {.what = fmt::format("groups lie more than {} deep", kMostDepth), .remedy = "ungroup the drawing"}));
    const std::string_view kind = svg_name(n);
    const std::vector<std::string> names = depth == 0 ? std::vector<std::string>() : svg_names(n);
    for (const std::string& name : names)
      if (const auto [stem, frame] = split_frame(name); stem == "frame" && frame) from.frame = frame;
    std::vector<size_t> mine;
    for (const std::string& name : names) {
      mine.push_back(drawing_.names.size());
      drawing_.names.push_back({name, from.frame, depth, drawing_.items.size(), 0});
    }
    if (svg_property(n, "display") == "none") from.hidden_depth = depth;
    if (const auto v = svg_property(n, "visibility"); !v.empty() && v != "inherit")
      from.invisible_depth = v == "visible" ? -1 : depth;
    if (const auto r = svg_property(n, "fill-rule"); r == "evenodd" || r == "nonzero")
      from.rule = r == "evenodd" ? FillRule::even_odd : FillRule::nonzero;
    if (const pugi::xml_attribute t = n.attribute("transform")) {
      const auto m = parse_transform(t.value());
      if (!m)
        return void(
            wrong(n, {.what = fmt::format("transform=\"{}\" of <{}> cannot be read", shortened(t.value()), kind),
                      .remedy = "apply the transform to the path's points and save again"}));
      from.place = from.place * *m;
    }
    for (const char* clip : {"clip-path", "mask"})
      if (const auto v = svg_property(n, clip); !v.empty() && v != "none")
        add({}, from,
            remark(n, Severity::warning,
                   fmt::format("{} of <{}> is passed over; the whole outline counts", clip, kind)));

    if (svg_is_group(kind)) {
      if (kind == "svg" && depth > 0) add_problem(n, from, "a drawing within the drawing", "ungroup it");
      for (pugi::xml_node child : n.children())
        if (child.type() == pugi::node_element && !svg_name(child).empty()) visit(child, from, depth + 1);
    } else if (svg_is_shape(kind)) {
      shape(n, from, kind);
    } else if (kind == "use") {
      add_problem(n, from, "a <use>, which repeats another shape", "turn the copy into a path of its own");
    } else if (kind == "text" || kind == "foreignObject") {
      add({}, from,
          remark(n, Severity::warning, fmt::format("<{}> is passed over", kind),
                 "turn it into paths if it is part of an outline"));
    }
    for (size_t i : mine) drawing_.names[i].last = drawing_.items.size();
  }

  void shape(pugi::xml_node n, const Inherited& from, std::string_view kind) {
    SvgElement e = svg_outline(n, kMostKnots - knots_);
    for (const Contour& c : e.contours) knots_ += c.knots.size();
    if (e.too_many || knots_ > kMostKnots) {
      wrong(n, {.what = fmt::format("the drawing has more than {} knots", kMostKnots),
                .remedy = "simplify it; an outline needs a few dozen"});
      given_up_ = true;
      return;
    }
    if (!e.fault.empty()) return void(wrong(n, {.what = e.fault, .remedy = std::move(e.remedy)}));
    for (Contour& c : e.contours) {
      c = mapped(c, from.place);
      c.rule = from.rule;
      for (const Knot& k : c.knots)
        for (const Point& p : {k.at, k.in, k.out})
          if (!(p.cwiseAbs().maxCoeff() <= kFarthest))
            return void(wrong(n, {.what = fmt::format("<{}> reaches more than a million pixels away", kind),
                                  .remedy = "remove it, or check its transform"}));
    }
    weld(e.contours);
    add(std::move(e.contours), from, std::nullopt);
  }

  void add(std::vector<Contour> contours, const Inherited& from, std::optional<Problem> problem) {
    drawing_.items.push_back(
        {std::move(contours), std::max(from.hidden_depth, from.invisible_depth), std::move(problem)});
  }
  Problem remark(pugi::xml_node n, Severity severity, std::string what, std::string remedy = "") const {
    return placed(offset(n), {.what = std::move(what), .remedy = std::move(remedy), .severity = severity});
  }
  void add_problem(pugi::xml_node n, const Inherited& from, std::string_view what, std::string remedy) {
    add({}, from, remark(n, Severity::error, fmt::format("the outline holds {}", what), std::move(remedy)));
  }

  std::string_view text_;
  SvgDrawing drawing_;
  Problems problems_;
  size_t knots_ = 0;
  bool given_up_ = false;
};

}  // namespace

Result<SvgDrawing> parse_svg(std::string_view text, std::string file) {
  if (text.size() > kMostSvgBytes)
    return fail({.what = "the drawing is larger than 64 MB",
                 .remedy = "leave out or shrink the pictures in it",
                 .file = std::move(file)});
  return Reader(text, std::move(file)).read();
}

}  // namespace pw
