#include "comp/spec/describe.h"

#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <set>

namespace pw {
namespace {

constexpr Family kFamilies[] = {Family::source, Family::maker, Family::measure, Family::bake, Family::sink};

std::string_view family_sentence(Family f) {
  switch (f) {
    case Family::source:
      return "Pixels from files";
    case Family::maker:
      return "Pixels from inputs";
    case Family::measure:
      return "Measured over the shot, stored beside it";
    case Family::bake:
      return "Pictures made once, stored beside the shot";
    default:
      return "Files";
  }
}

std::string value_in_words(const Param& p) {
  if (!p.say.choices.empty())
    return fmt::format("{}{}{}", fmt::join(p.say.choices, " | "), p.say.beyond ? " | " : "", p.say.beyond_doc);
  if (p.say.role != Role::plain) return "a file name in quotes";
  std::string s(value_type_name(p.fallback));
  if (p.animated()) s += ", or a table of frames";
  return s;
}

std::string limits_in_words(const Param& p) {
  const bool low = std::isfinite(p.say.min), high = std::isfinite(p.say.max);
  if (low && high) return fmt::format("{} to {}", p.say.min, p.say.max);
  if (low) return fmt::format("{} or more", p.say.min);
  if (high) return fmt::format("{} or less", p.say.max);
  return "";
}

std::string details(const Param& p) {
  std::string s = value_in_words(p);
  if (const std::string l = limits_in_words(p); !l.empty()) s += ", " + l;
  if (p.say.unit != Unit::none) s += fmt::format(" ({})", name(p.say.unit));
  if (p.say.required)
    s += "; must be given";
  else if (const std::string d = to_text(p.fallback); d != "[]" && d != "\"\"" && d != "{  }")
    s += "; default " + d;
  return s;
}

std::string sentence_start(Flow f) {
  std::string s = with_article(name(f));
  s[0] = 'A';
  return s;
}

std::string input_details(const Input& i) {
  return fmt::format("{}{}{}", with_article(name(i.flow)), i.list ? ", or a list of them" : "",
                     i.required ? "; must be given" : "");
}

}  // namespace

std::string list_of_kinds(Kinds kinds) {
  std::string s;
  for (Family f : kFamilies) {
    std::string part;
    for (const Kind& k : kinds)
      if (k.family == f) part += fmt::format("  {:<10} {}\n", k.name, k.doc);
    if (!part.empty()) s += fmt::format("{}{}:\n{}", s.empty() ? "" : "\n", family_sentence(f), part);
  }
  return s;
}

std::string example_of_kind(const Kind& kind) {
  std::string s = fmt::format("[my_{}]\nkind = \"{}\"\n", kind.name, kind.name);
  for (const Input& i : kind.inputs)
    if (i.required) s += fmt::format("{} = {}\n", i.name, i.list ? "[\"NODE\"]" : "\"NODE\"");
  for (const Param& p : kind.params)
    if (p.say.required || !p.say.example.empty())
      s += fmt::format("{} = {}\n", p.name, p.say.example.empty() ? to_text(p.fallback) : std::string(p.say.example));
  return s;
}

std::string help_of_kind(const Kind& kind) {
  std::string s = fmt::format("{} ({}, version {})\n{}\n", kind.name, name(kind.family), kind.version, kind.doc);
  if (!kind.inputs.empty()) s += "\nInputs:\n";
  for (const Input& i : kind.inputs)
    s += fmt::format("  {:<16} {}\n  {:<16} {}\n", i.name, i.doc, "", input_details(i));
  if (!kind.outputs.empty()) s += "\nOutputs:\n";
  for (const Output& o : kind.outputs) s += fmt::format("  {:<16} {} {}.\n", o.name, o.doc, sentence_start(o.flow));
  if (!kind.params.empty()) s += "\nParameters:\n";
  for (const Param& p : kind.params) s += fmt::format("  {:<16} {}\n  {:<16} {}\n", p.name, p.say.doc, "", details(p));
  std::string example = example_of_kind(kind);
  for (size_t i = 0; (i = example.find('\n', i)) != std::string::npos && i + 1 < example.size(); i += 3)
    example.insert(i + 1, "  ");
  return s + "\nExample:\n  " + example;
}

std::string page_of_kinds(Kinds kinds) {
  std::string s =
      "# Kinds of nodes\n\n"
      "This page is made from the declarations in comp/kinds (`platewright kinds --page`); change it there.\n";
  for (Family f : kFamilies) {
    bool any = false;
    for (const Kind& k : kinds) any = any || k.family == f;
    if (!any) continue;
    s += fmt::format("\n## {}\n", family_sentence(f));
    for (const Kind& k : kinds) {
      if (k.family != f) continue;
      s += fmt::format("\n### {}\n\n{}\n", k.name, k.doc);
      if (!k.inputs.empty()) s += "\n| input | | |\n|---|---|---|\n";
      for (const Input& i : k.inputs) s += fmt::format("| `{}` | {} | {} |\n", i.name, i.doc, input_details(i));
      if (!k.outputs.empty()) s += "\n| output | |\n|---|---|\n";
      for (const Output& o : k.outputs) s += fmt::format("| `{}` | {} {}. |\n", o.name, o.doc, sentence_start(o.flow));
      if (!k.params.empty()) s += "\n| parameter | | |\n|---|---|---|\n";
      for (const Param& p : k.params) {
        std::string d = details(p);
        for (size_t i = 0; (i = d.find('|', i)) != std::string::npos; i += 2) d.replace(i, 1, "\\|");
        s += fmt::format("| `{}` | {} | {} |\n", p.name, p.say.doc, d);
      }
      s += fmt::format("\n```toml\n{}```\n", example_of_kind(k));
    }
  }
  return s;
}

namespace {

using Json = nlohmann::ordered_json;

Json schema_of(const Param& p) {
  Json number = {{"type", "number"}};
  if (std::isfinite(p.say.min)) number["minimum"] = p.say.min;
  if (std::isfinite(p.say.max)) number["maximum"] = p.say.max;
  Json s;
  if (!p.say.choices.empty()) {
    const Json listed = {{"enum", std::vector<std::string>(p.say.choices.begin(), p.say.choices.end())}};
    s = p.say.beyond ? Json{{"anyOf", {listed, {{"type", "string"}}}}} : listed;
  } else {
    switch (p.fallback.index()) {
      case 0:
        s = {{"type", "boolean"}};
        break;
      case 1:
        s = number, s["type"] = "integer";
        break;
      case 2:
        s = number;
        break;
      case 3:
        s = {{"type", "string"}};
        break;
      case 4:
        s["anyOf"] = {number,
                      {{"type", "object"},
                       {"patternProperties", {{"^-?[0-9]+$", number}}},
                       {"properties", {{"ease", {{"enum", {"linear", "smooth"}}}}}},
                       {"additionalProperties", false}}};
        break;
      case 5:
        s = {{"type", "array"}, {"items", {{"type", "integer"}}}};
        break;
      case 6:
        s = {{"type", "array"}, {"items", number}};
        break;
      case 7:
        s = {{"type", "array"},
             {"items", {{"type", "array"}, {"items", {{"type", "number"}}}, {"minItems", 2}, {"maxItems", 2}}}};
        break;
      case 8:
        s = {{"type", "object"},
             {"patternProperties", {{"^-?[0-9]+$", {{"type", "string"}}}}},
             {"additionalProperties", false}};
        break;
      case 10:
        s = {{"type", "array"},
             {"items",
              {{"type", "array"},
               {"items", {{"type", "array"}, {"items", {{"type", "number"}}}, {"minItems", 2}, {"maxItems", 2}}}}}};
        break;
      default: {
        Json frame = number;
        frame["type"] = "integer";
        s["anyOf"] = {frame, {{"const", "auto"}}};
      }
    }
  }
  s["description"] = std::string(p.say.doc);
  return s;
}

Json schema_of(const Kind& k) {
  Json properties, required = Json::array({"kind"});
  properties["kind"] = {{"const", std::string(k.name)}};
  for (const Input& i : k.inputs) {
    Json one = {{"type", "string"}};
    Json s = i.list ? Json{{"anyOf", {one, {{"type", "array"}, {"items", one}}}}} : one;
    s["description"] = std::string(i.doc);
    properties[std::string(i.name)] = s;
    if (i.required) required.push_back(std::string(i.name));
  }
  for (const Param& p : k.params) {
    properties[std::string(p.name)] = schema_of(p);
    if (p.say.required) required.push_back(std::string(p.name));
  }
  return {{"type", "object"},
          {"description", std::string(k.doc)},
          {"properties", properties},
          {"required", required},
          {"additionalProperties", false}};
}

}  // namespace

std::string schema_of_shot(Kinds kinds) {
  Json any = Json::array(), names = Json::array(), defs;
  for (const Kind& k : kinds) {
    defs[std::string(k.name)] = schema_of(k);
    names.push_back(std::string(k.name));
    // Chosen by its kind, so that an editor complains about the one kind meant and not about all of them.
    any.push_back({{"if", {{"properties", {{"kind", {{"const", std::string(k.name)}}}}}}},
                   {"then", {{"$ref", "#/$defs/" + std::string(k.name)}}}});
  }
  defs["node"] = {
      {"type", "object"}, {"properties", {{"kind", {{"enum", names}}}}}, {"required", {"kind"}}, {"allOf", any}};
  Json integers = {{"type", "array"}, {"items", {{"type", "integer"}}}, {"minItems", 2}, {"maxItems", 2}};
  const Json shot = {{"type", "object"},
                     {"properties",
                      {{"like", {{"type", "string"}}},
                       {"size", integers},
                       {"frames", integers},
                       {"rate", {{"type", {"string", "number"}}}},
                       {"shutter_deg", {{"type", "number"}, {"minimum", 0}, {"maximum", 360}}},
                       {"ocio", {{"type", "string"}}},
                       {"ocio_linear", {{"type", "string"}}}}},
                     {"additionalProperties", false}};
  const Json schema = {{"$schema", "https://json-schema.org/draft/2020-12/schema"},
                       {"title", "Platewright shot file"},
                       {"type", "object"},
                       {"properties", {{"shot", shot}}},
                       {"additionalProperties", {{"$ref", "#/$defs/node"}}},
                       {"$defs", defs}};
  return schema.dump(2) + "\n";
}

std::string fuzz_dictionary(Kinds kinds) {
  std::set<std::string> words = {"shot", "like",        "size", "frames", "rate",   "shutter_deg",
                                 "ocio", "ocio_linear", "kind", "ease",   "linear", "smooth"};
  for (const Kind& k : kinds) {
    words.emplace(k.name);
    for (const Input& i : k.inputs) words.emplace(i.name);
    for (const Output& o : k.outputs) words.emplace(o.name);
    for (const Param& p : k.params) {
      words.emplace(p.name);
      for (std::string_view c : p.say.choices) words.emplace(c);
      if (std::holds_alternative<FrameOrAuto>(p.fallback)) words.emplace("auto");
    }
  }
  std::string s;
  for (const std::string& w : words) s += fmt::format("\"{}\"\n", w);
  return s;
}

}  // namespace pw
