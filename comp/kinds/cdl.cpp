#include "comp/colour/cdl.h"

#include "comp/colour/cdl_file.h"
#include "comp/kinds/encoding_choice.h"
#include "comp/media/identity.h"
#include "comp/spec/declare.h"

namespace pw::cdl_kind {
namespace {

struct CdlParams {
  std::string file;
  std::vector<double> slope = {1, 1, 1}, offset = {0, 0, 0}, power = {1, 1, 1};
  double saturation = 1;
  std::string space = "linear";
  bool clamp = false;
};
enum { kImage };

Result<Survey> survey(const CdlParams& p, const Shot& shot) {
  Survey s;
  if (p.file.empty()) return s;
  const std::string path = shot.path(p.file);
  const auto cdl = load_cdl(path);
  if (!cdl) return fail(cdl.error());
  s.identity = file_identity(path);
  s.numbers = ten_numbers(*cdl);
  return s;
}

Cdl cdl_of(const CdlParams& p, const Survey* files) {
  if (files && !files->numbers.empty()) return from_ten_numbers(files->numbers);
  return from_lists(p.slope, p.offset, p.power, p.saturation);
}

}  // namespace

Kind declare() {
  return Declare<CdlParams>("cdl", Family::maker, 1, "Corrects colour by the ten numbers of the ASC CDL.")
      .also({"grade", "colour correction", "color correction", "sop"})
      .input({"image", Flow::picture, "What is corrected."})
      .output({"image", Flow::picture, "The same with other colours; its alpha stays."})
      .param("slope", &CdlParams::slope,
             {.doc = "Light is multiplied by this; three numbers, or one for all.",
              .min = 0,
              .max = 1e6,
              .low = 0,
              .high = 2,
              .example = "[1.1, 1.0, 0.9]"})
      .param("offset", &CdlParams::offset,
             {.doc = "This is added then; three numbers, or one for all.",
              .min = -1e6,
              .max = 1e6,
              .low = -0.2,
              .high = 0.2})
      .param("power", &CdlParams::power,
             {.doc = "The result is raised to this; three numbers, or one for all.",
              .min = 1e-3,
              .max = 1e6,
              .low = 0.5,
              .high = 2})
      .param("saturation", &CdlParams::saturation,
             {.doc = "0: grey; 1: as it is.", .unit = Unit::none, .min = 0, .max = 1e6, .low = 0, .high = 2})
      .param("file", &CdlParams::file,
             {.doc = "A .cc file with the numbers instead.", .role = Role::file_in, .example = "\"grade.cc\""})
      .param("space", &CdlParams::space,
             {.doc = "The values the correction acts on: those it was made for.",
              .choices = {kEncodingChoices.begin() + 1, kEncodingChoices.end()},
              .beyond = space_that_is_worked_in,
              .beyond_doc = kColourSpaceDoc})
      .param("clamp", &CdlParams::clamp,
             {.doc = "Hold values to 0 to 1 as the standard does; without it, light above white survives."})
      .rule([](const CdlParams& p, const Given&) -> std::optional<Complaint> {
        for (const auto& [key, v] : {std::pair{"slope", &p.slope}, {"offset", &p.offset}, {"power", &p.power}})
          if (v->size() != 3 && v->size() != 1)
            return Complaint{key, "has " + std::to_string(v->size()) + " numbers",
                             "write red, green, blue, or one number for all"};
        return std::nullopt;
      })
      .rule([](const CdlParams&, const Given& given) -> std::optional<Complaint> {
        if (!given("file")) return std::nullopt;
        for (const char* key : {"slope", "offset", "power", "saturation"})
          if (given(key)) return Complaint{key, "stands beside a file", "the file holds the numbers: take one out"};
        return std::nullopt;
      })
      .survey(survey)
      .make([](const CdlParams& p, const Making& m) {
        const auto to = space_transform(p.space, m.shot, Colours::Way::writing);
        const auto from = space_transform(p.space, m.shot, Colours::Way::reading);
        return corrected(m.picture(kImage), cdl_of(p, m.files),
                         {chosen(p.space).value_or(Encoding::linear), p.clamp, to.get(), from.get()}, m.rect);
      });
}

}  // namespace pw::cdl_kind
