// platewright: the command line. Each command's options are read here and run in its own file.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <system_error>
#include <thread>

#include "apps/command.h"
#include "apps/manual.h"
#include "apps/say.h"
#include "comp/spec/nearest.h"

namespace {

using namespace pw;

void add_shot(CLI::App* app, Common& c) {
  app->add_option("shot", c.shot, "The shot file")->required();
  app->add_option("--set", c.settings, "NODE.PARAMETER=VALUE instead of what the file says; may stand several times")
      ->allow_extra_args(false)
      ->take_all();
  app->add_flag("--json", c.json, "Results as JSON on standard output, for scripts");
}

void add_machine(CLI::App* app, Common& c) {
  const auto threads = [&c](int n) { c.threads = std::min(n, static_cast<int>(std::thread::hardware_concurrency())); };
  app->add_option_function<int>("--threads", threads, "At most so many; 0: as many as the machine has")
      ->check(CLI::Range(0, 1024));
  app->add_option("--memory", c.memory, "Limit for pictures in memory, as 800M or 4G")->capture_default_str();
}

template <class Command>
CLI::App* add(CLI::App& app, const char* name, const char* what, const char* examples, Command& c, int& status) {
  CLI::App* sub = app.add_subcommand(name, what);
  sub->footer(std::string("\nExamples:\n") + examples);
  sub->callback([&c, &status] { status = run(c); });
  return sub;
}

// For the first word that is no command, or no option of its command: what may have been meant.
std::string suggestion(const CLI::App& app, int argc, char** argv) {
  if (argc < 2) return {};
  const CLI::App* command = nullptr;
  std::vector<std::string> names;
  for (const CLI::App* c : app.get_subcommands([](const CLI::App*) { return true; })) {
    names.push_back(c->get_name());
    if (c->get_name() == argv[1]) command = c;
  }
  const auto say_so = [](const char* what, const std::string& word, const std::string& meant, const char* list) {
    return fmt::format("there is no {} \"{}\"; {}", what, word,
                       meant.empty() ? list : fmt::format("did you mean {}?", meant));
  };
  if (!command) {
    if (argv[1][0] == '-') return {};
    return say_so("command", argv[1], nearest(argv[1], names), "\"platewright --help\" lists them");
  }
  names.clear();
  for (const CLI::Option* o : command->get_options())
    for (const std::string& l : o->get_lnames()) names.push_back("--" + l);
  for (int i = 2; i < argc; ++i) {
    const std::string word = std::string(argv[i]).substr(0, std::string(argv[i]).find('='));
    if (word.starts_with("--") && word.size() > 2 && std::find(names.begin(), names.end(), word) == names.end())
      return say_so("option", word, nearest(word, names), "see --help");
  }
  return {};
}

// Whether all that was printed has arrived; says it when not.
bool flushed() {
  if (std::fflush(stdout) == 0 && std::ferror(stdout) == 0) return true;
  say({{.what = "the output cannot be written", .remedy = "look where it is sent to: the disk may be full"}});
  return false;
}

}  // namespace

int main(int argc, char** argv) {
  std::signal(SIGXFSZ, SIG_IGN);  // A file that may not grow further is told as a full disk is.
  CLI::App app("Platewright rebuilds a background that something stood in front of, and makes it live again.",
               "platewright");
  app.footer(
      "\nStart with: platewright kinds, then platewright check SHOT.toml, then platewright render SHOT.toml\n"
      "Exit status: 0 done, 1 some frames failed, 2 a mistake to mend (nothing written), 130 stopped by Ctrl-C (every "
      "file is whole).");
  app.require_subcommand(1);
  app.set_version_flag("--version", "platewright 0.1.0");
  int status = 0;

  RenderCommand render;
  auto* r =
      add(app, "render", "Measure what is needed and write the frames",
          "  platewright render quay.toml\n"
          "  platewright render quay.toml out --frames 1-48x12 --scale 0.5\n"
          "  platewright render quay.toml --set clean.filter=cubic --dry-run\n"
          "  platewright render quay.toml --frames 1-24 --log night.log --keep-going\n"
          "Files that are there and come from the same shot are left alone: run it again after a stop, or run several\n"
          "with different --frames beside one another.\n",
          render, status);
  add_shot(r, render);
  add_machine(r, render);
  r->add_option("nodes", render.nodes, "Deliver nodes; all of them when none is named");
  const auto given = [](std::string& text, bool& flag) {
    return [&text, &flag](const std::string& s) { text = s, flag = true; };
  };
  r->add_option_function<std::string>("--frames", given(render.frames, render.frames_given),
                                      "As 1-48, 1-48x4 (every fourth), 3,9,12; default: the whole shot");
  r->add_option("--scale", render.scale, "Proxy: draw at this share of the full size; measures stay at full size")
      ->check([](const std::string& text) {  // A range lets "nan" through.
        char* end = nullptr;
        const double s = std::strtod(text.c_str(), &end);
        return *end == 0 && s >= 0.01 && s <= 1 ? "" : "\"" + text + "\" is no scale; write 0.01 to 1, as in 0.5";
      });
  r->add_flag("--dry-run", render.dry_run, "Measure, then print the plan of the first frame and write nothing");
  r->add_flag("--again", render.again, "Measure and draw again even what is there and comes from the same");
  r->add_flag("--keep-going", render.keep_going,
              "A measure that fails takes only the deliveries that lean on it with it");
  r->add_flag("--strict", render.strict, "End at the first problem, a warning too");
  r->add_option_function<std::string>("--log", given(render.log, render.log_given),
                                      "Add a line of JSON for every file to this file");

  CheckCommand check;
  add_shot(add(app, "check", "Read a shot file and say all that is wrong with it", "  platewright check quay.toml\n",
               check, status),
           check);

  KindsCommand kinds;
  auto* k = add(app, "kinds", "The kinds of nodes and what they take",
                "  platewright kinds\n  platewright kinds pin\n  platewright kinds --schema > shot.schema.json\n",
                kinds, status);
  k->add_option("kind", kinds.kind, "One kind, with an example");
  k->add_flag("--schema", kinds.schema, "JSON Schema of a shot file, for editors");
  k->add_flag("--page", kinds.page, "All kinds as Markdown");
  k->add_flag("--words", kinds.words, "The words of a shot file, one a line");

  MeasureCommand measure;
  auto* m = add(app, "measure", "Measure nodes, store the results beside the shot and say how they went",
                "  platewright measure quay.toml\n"
                "  platewright measure quay.toml wall --out wall.json\n"
                "  platewright measure quay.toml wall --out wall.csv\n"
                "  platewright measure quay.toml wall floor --report planes.html\n",
                measure, status);
  add_shot(m, measure);
  add_machine(m, measure);
  m->add_option("nodes", measure.nodes, "Nodes; all measures when none is named");
  m->add_option("--out", measure.out, "Write one plane's motion: .json track file, .csv corner positions");
  m->add_option("--report", measure.report,
                "Write a page (.html) with plots and pictures of how well the planes were followed");
  m->add_flag("--again", measure.again, "Measure again even what is stored and unchanged");

  CdlCommand cdl;
  auto* g = add(app, "cdl", "Write a node's colour correction as a .cc file (ASC CDL) for others to use",
                "  platewright cdl quay.toml warmer --out warmer.cc\n", cdl, status);
  add_shot(g, cdl);
  g->add_option("node", cdl.node, "A cdl node")->required();
  g->add_option("--out", cdl.out, "The file, .cc")->required();

  ScoreCommand score;
  auto* s = add(app, "score", "Compare a track with the true motion, or pictures with the true pictures",
                "  platewright score wall.json truth.json\n"
                "  platewright score out/clean.####.png truth/empty.####.png --matte truth/removed.####.png --each\n",
                score, status);
  s->add_option("measured", score.measured, "Track file, or a still or sequence")->required();
  s->add_option("truth", score.truth, "truth.json, or a still or sequence")->required();
  s->add_option("--matte", score.matte, "Compare only where this still or sequence is above a half");
  s->add_option("--frames", score.frames, "As 1-48x4; default: all that both have");
  s->add_option("--encoding", score.encoding, "Code values in which pictures are compared")->capture_default_str();
  s->add_flag("--each", score.each, "A line for every frame");
  s->add_flag("--json", score.json, "Results as JSON");

  ProbeCommand probe;
  auto* p = add(
      app, "probe",
      "What a file is; a frame to draw outlines over; which planes can be followed; which frames make good stills; how "
      "to stand at the shoot",
      "  platewright probe plate.####.png\n"
      "  platewright probe plate.####.png --frame 12 --svg goose.0012.svg\n"
      "  platewright probe quay.toml --planes --out planes.png\n"
      "  platewright probe quay.toml --stills --image plate --motion wall --region \"400,80 700,80 700,420 400,420\"\n"
      "  platewright probe quay.toml --lineup monitor.png --stand \"380,500 620,470\" --tall 1.8\n",
      probe, status);
  p->add_option("file", probe.file, "A still, a sequence, a movie, or with --planes, --stills or --lineup a shot file")
      ->required();
  p->add_option_function<int>(
      "--frame", [&probe](int f) { probe.frame = f, probe.frame_given = true; }, "Frame for --svg");
  p->add_option("--svg", probe.svg, "Write an SVG with the frame inside, to draw outlines and regions over it");
  CLI::Option* planes =
      p->add_flag("--planes", probe.planes,
                  "List the planes that can be followed, best first, with reference and region to be pasted");
  p->add_option("--out", probe.out, "With --planes: write a page of pictures with their regions, .png")->needs(planes);
  p->add_flag("--stills", probe.stills, "Rank frames by emptiness of a region, sharpness and coverage");
  p->add_option("--image", probe.image,
                "With --planes, --stills or --lineup: the node looked at; default: the shot's footage");
  p->add_option("--motion", probe.motion, "With --stills: the plane the region moves with");
  p->add_option("--region", probe.region,
                "With --stills: corners in the reference frame, as \"x,y x,y x,y\"; default: the plane's");
  p->add_option(
      "--thing", probe.things,
      "With --stills: nodes of mattes of what must be out of the region; with --planes: of what hides planes");
  p->add_option("--lineup", probe.lineup,
                "Print how the plate's camera stood; write the plate with its ground grid for the monitor, .png");
  p->add_option("--camera", probe.camera, "With --lineup: the node; default: the shot's only camera");
  p->add_option("--stand", probe.stand, "With --lineup: where feet stand in the camera's frame, as \"x,y x,y\"");
  p->add_option("--tall", probe.tall_m, "With --lineup: how tall the subject is, metres")->capture_default_str();
  p->add_option("--set", probe.settings, "With --planes, --stills or --lineup: NODE.PARAMETER=VALUE")
      ->allow_extra_args(false)
      ->take_all();
  p->add_flag("--json", probe.json, "Results as JSON");
  add_machine(p, probe);

  SheetCommand sheet;
  auto* c = add(app, "contactsheet", "Frames of one or more sequences on one page, a row each",
                "  platewright contactsheet sheet.png plate.####.png out/quay.####.png --frames 1,12,24,36,48\n", sheet,
                status);
  c->add_option("out", sheet.out, "The page, .png")->required();
  c->add_option("rows", sheet.rows, "Sequences, one row each")->required();
  c->add_option("--frames", sheet.frames, "As 1,12,24; default: six spread over the first sequence");
  c->add_option("--height", sheet.height, "Of one picture, pixels")->capture_default_str()->check(CLI::Range(16, 2160));
  c->add_option("--crop", sheet.crop, "Only this part of each picture, as x0,y0,x1,y1; enlarged without smoothing");

  const auto print = [&app](std::string (*what)(const CLI::App&)) {
    return [&app, what] {
      fmt::print("{}", what(app));
      throw CLI::Success();
    };
  };
  app.add_flag_callback("--manual", print(manual_page), "Print a manual page: platewright --manual | man -l -")
      ->trigger_on_parse();
  app.add_flag_callback("--completion", print(bash_completion), "Print completion for bash, to be sourced")
      ->trigger_on_parse();

  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& e) {
    if (const std::string meant = suggestion(app, argc, argv); e.get_exit_code() != 0 && !meant.empty()) {
      fmt::print(stderr, "{}\n", meant);
      return kMistake;
    }
    const int code = app.exit(e);
    return code != 0 ? kMistake : flushed() ? kDone : kSomeFailed;
  } catch (const std::system_error& e) {  // What is printed goes into a file, say, on a full disk.
    say({{.what = std::string("the output cannot be written: ") + e.what(), .remedy = "look where it is sent to"}});
    return kSomeFailed;
  } catch (const std::bad_alloc&) {
    say({{.what = "the machine has no more memory",
          .remedy = "lower --memory or --scale, or deliver fewer frames at once"}});
    return kMistake;
  } catch (const std::exception& e) {  // Nothing is meant to come here.
    say({{.what = std::string("the program met something it was not made for: ") + e.what(),
          .remedy = "this is a fault of the program; please report it with the shot file"}});
    return kMistake;
  }
  return flushed() ? status : kSomeFailed;
}
