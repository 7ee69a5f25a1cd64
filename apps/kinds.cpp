#include <fmt/format.h>

#include "apps/command.h"
#include "apps/say.h"
#include "comp/kinds/registry.h"
#include "comp/spec/describe.h"
#include "comp/spec/nearest.h"

namespace pw {

int run(const KindsCommand& c) {
  if (c.schema) return fmt::print("{}", schema_of_shot(all_kinds())), kDone;
  if (c.page) return fmt::print("{}", page_of_kinds(all_kinds())), kDone;
  if (c.words) return fmt::print("{}", fuzz_dictionary(all_kinds())), kDone;
  if (c.kind.empty())
    return fmt::print("{}\nplatewright kinds KIND says all about one.\n", list_of_kinds(all_kinds())), kDone;
  if (const Kind* k = find_kind(all_kinds(), c.kind)) return fmt::print("{}", help_of_kind(*k)), kDone;
  std::vector<std::string> names;
  for (const Kind& k : all_kinds()) names.emplace_back(k.name);
  const std::string meant = nearest(c.kind, names);
  say({{.what = fmt::format("there is no kind \"{}\"", c.kind),
        .remedy = meant.empty() ? "\"platewright kinds\" lists them" : fmt::format("did you mean {}?", meant)}});
  return kMistake;
}

}  // namespace pw
