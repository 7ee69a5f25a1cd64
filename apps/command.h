// The commands of the command line. Each is a function from its options to an exit status:
// 0 done; 1 some frames failed, or a comparison could not be made for all of them; 2 a mistake to mend, nothing
// written; 130 stopped by Ctrl-C, every file whole.
#pragma once
#include <string>
#include <vector>

#include "comp/graph/measure.h"

namespace pw {

inline constexpr int kDone = 0, kSomeFailed = 1, kMistake = 2, kStopped = 130;

struct Common {
  std::string shot;
  std::vector<std::string> settings;  // --set
  int threads = 0;                    // 0: as many as the machine has.
  std::string memory = "4G";
  bool json = false;
};

struct RenderCommand : Common {
  std::vector<std::string> nodes;
  std::string frames, log;
  bool frames_given = false, log_given = false;  // An empty text is a mistake, not the whole shot.
  double scale = 1;
  bool dry_run = false, again = false, keep_going = false, strict = false;
};
int run(const RenderCommand& c);

struct CheckCommand : Common {};
int run(const CheckCommand& c);

struct KindsCommand {
  std::string kind;
  bool schema = false, page = false, words = false;
};
int run(const KindsCommand& c);

struct MeasureCommand : Common {
  std::vector<std::string> nodes;
  std::string out, report;
  bool again = false;
};
int run(const MeasureCommand& c);

struct CdlCommand : Common {
  std::string node, out;
};
int run(const CdlCommand& c);

struct ScoreCommand {
  std::string measured, truth, matte, frames, encoding = "srgb";
  bool json = false, each = false;
};
int run(const ScoreCommand& c);

struct ProbeCommand : Common {
  std::string file;
  int frame = 0;
  bool frame_given = false;
  std::string svg;
  bool stills = false, planes = false;
  std::string out;
  std::string image, motion, region;
  std::vector<std::string> things;
  std::string lineup, camera, stand;
  double tall_m = 1.75;
};
int run(const ProbeCommand& c);

struct SheetCommand {
  std::string out, frames;
  std::vector<std::string> rows;
  int height = 180;
  std::string crop;
};
int run(const SheetCommand& c);

}  // namespace pw
