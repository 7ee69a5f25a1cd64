#include "apps/manual.h"

#include <fmt/format.h>

#include <sstream>

namespace pw {
namespace {

// Text in roff: backslashes and leading dots and quotes mean something there, and hyphens are not minus signs.
std::string roff(const std::string& text) {
  std::string out;
  for (size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    const bool at_start = i == 0 || text[i - 1] == '\n';
    if (at_start && (c == '.' || c == '\'')) out += "\\&";
    if (c == '\\')
      out += "\\e";
    else if (c == '-')
      out += "\\-";
    else
      out += c;
  }
  return out;
}

bool is_help(const CLI::Option* o) { return o->get_name(false, true).find("--help") != std::string::npos; }

// The examples and remarks below a command's help: indented lines are examples, the others run on.
std::string footer(const CLI::App& app) {
  std::istringstream lines(app.get_footer());
  std::string out, line;
  bool running = false;
  while (std::getline(lines, line)) {
    if (line.empty() || line == "Examples:") continue;
    const bool example = line.starts_with("  ");
    if (example)
      out += fmt::format(".PP\n.nf\n    {}\n.fi\n", roff(line.substr(2)));
    else
      out += fmt::format("{}{}\n", running ? "" : ".PP\n", roff(line));
    running = !example;
  }
  return out;
}

// What an option takes: CLI11 writes the ranges of numbers behind the word.
std::string value_name(const CLI::Option& o) {
  const std::string type = o.get_type_name();
  const std::string word = type.substr(0, type.find_first_of(":[ "));
  return word == "INT" || word == "FLOAT" || word == "UINT" ? "NUMBER" : word;
}

std::string synopsis(const CLI::App& command) {
  std::string out = "\\fBplatewright " + command.get_name() + "\\fR";
  for (const CLI::Option* o : command.get_options())
    if (o->get_positional()) {
      const std::string name = roff(o->get_name(true, false)) + (o->get_items_expected_max() > 1 ? "..." : "");
      out += " " + (o->get_required() ? "\\fI" + name + "\\fR" : "[\\fI" + name + "\\fR]");
    }
  return out + " [\\fIOPTION\\fR...]";
}

std::string options(const CLI::App& app) {
  std::string out;
  for (const CLI::Option* o : app.get_options()) {
    if (is_help(o)) continue;
    std::string name = o->get_name(o->get_positional(), true);
    const bool takes = o->get_items_expected_max() > 0;
    const std::string value = takes && !o->get_positional() ? " \\fI" + value_name(*o) + "\\fR" : "";
    const std::string usual = o->get_default_str().empty() ? "" : fmt::format(" (usually {})", o->get_default_str());
    out += fmt::format(".TP\n\\fB{}\\fR{}\n{}{}\n", roff(name), value, roff(o->get_description()), roff(usual));
  }
  return out;
}

std::vector<const CLI::App*> commands(const CLI::App& app) {
  return app.get_subcommands([](const CLI::App*) { return true; });
}

}  // namespace

std::string manual_page(const CLI::App& app) {
  std::string out = fmt::format(
      ".TH PLATEWRIGHT 1\n.SH NAME\nplatewright \\- rebuilds the background of moving shots\n"
      ".SH SYNOPSIS\n\\fBplatewright\\fR \\fICOMMAND\\fR [\\fIOPTION\\fR...]\n"
      ".SH DESCRIPTION\n{}\n.PP\nA shot is one TOML file; \\fBplatewright kinds\\fR says what can stand in it.\n{}.SH "
      "COMMANDS\n",
      roff(app.get_description()), options(app));
  for (const CLI::App* c : commands(app)) {
    out += fmt::format(".SS {}\n{}\n.PP\n{}.\n", c->get_name(), synopsis(*c), roff(c->get_description()));
    out += options(*c) + footer(*c);
  }
  out += ".SH NOTES\n" + footer(app);
  return out;
}

std::string bash_completion(const CLI::App& app) {
  std::string names, cases;
  for (const CLI::App* c : commands(app)) {
    names += (names.empty() ? "" : " ") + c->get_name();
    std::string words;
    for (const CLI::Option* o : c->get_options())
      for (const std::string& l : o->get_lnames()) words += (words.empty() ? "--" : " --") + l;
    cases += fmt::format("    {}) words=\"{}\" ;;\n", c->get_name(), words);
  }
  return fmt::format(
      "# Completion for bash: source <(platewright --completion)\n"
      "_platewright() {{\n"
      "  local word=${{COMP_WORDS[COMP_CWORD]}} words=\n"
      "  if [ \"$COMP_CWORD\" -eq 1 ]; then\n"
      "    COMPREPLY=($(compgen -W \"{} --help --version --manual --completion\" -- \"$word\"))\n"
      "    return\n"
      "  fi\n"
      "  case ${{COMP_WORDS[1]}} in\n{}  esac\n"
      "  case $word in -*) COMPREPLY=($(compgen -W \"$words\" -- \"$word\")) ;; esac\n"
      "}}\n"
      "complete -o default -F _platewright platewright\n",
      names, cases);
}

}  // namespace pw
