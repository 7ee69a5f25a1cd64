// What a kind can do, as functions from values to values. `params` is the kind's own Params; Declare<Params> types it.
#pragma once
#include <any>
#include <functional>
#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "base/camera.h"
#include "base/lens.h"
#include "base/light.h"
#include "base/motion.h"
#include "base/noise.h"
#include "base/outline.h"
#include "base/parallel.h"
#include "base/picture.h"
#include "base/problem.h"
#include "base/still.h"

namespace pw {

class Colours;  // comp/colour/ocio.h; this room does not look inside.

// Stands for "has pixels wherever one asks".
inline constexpr Rect kEverywhere{-(1 << 20), -(1 << 20), 1 << 20, 1 << 20};

// What every node of a shot shares.
struct Shot {
  int width = 0, height = 0;               // Of the plate at full size.
  int first = 1, last = 1;                 // Frames.
  double rate = 24;                        // Frames a second; 0 while the first survey looks for it.
  std::string timecode;                    // Of the first frame (SMPTE ST 12-1); empty: none.
  double shutter_deg = 180;                // 360: open for the whole frame; 0: no smear.
  double scale = 1;                        // Proxy: makers work at this share of the full size; measures always at 1.
  std::string folder;                      // Where the shot file is; relative paths start there.
  std::string ocio, ocio_linear;           // A configuration of OpenColorIO, and its space of linear Rec.709 light.
  std::shared_ptr<const Colours> colours;  // That configuration, once a node names a space of it.

  Rect canvas() const;  // The plate's rectangle at the scale.
  double px(double full_size) const { return full_size * scale; }
  Matrix3 scaled(const Matrix3& full_size) const;   // A homography of the full-size plate, at the scale.
  std::string path(const std::string& file) const;  // As the shot file means it.
};

// What a measure or a bake stores.
using Measured = std::variant<std::monostate, Motion, Still, Outline, Light, Noise, Lens, Camera>;

// A connected input before any pixel is drawn.
struct Connection {
  std::string node;                    // Its name in the shot file.
  const Measured* measured = nullptr;  // Of what has no pixels; null for pictures.
  const Still* still = nullptr;  // When it is the same picture on every frame because it comes from a still: that still
                                 // (without regard to what was done to its colour since).
  bool fixed = false;            // The same picture on every frame.
  Rect extent;                   // Where it has pixels, at the frame asked for.
};

struct Survey;

// One demand on a node: what is wanted, and what is known of its inputs.
struct Ask {
  const Shot& shot;
  int frame = 0;
  Rect rect;
  int output = 0;
  const std::vector<std::vector<Connection>>& inputs;  // [input][item], in the order of the declaration.
  const Measured* own = nullptr;                       // The result of a measure or bake that draws.
  const Survey* files = nullptr;                       // What survey() found, of a kind that reads files.

  bool has(int input) const { return !inputs[input].empty(); }
  const Motion& motion(int input) const { return std::get<Motion>(*inputs[input][0].measured); }
  const Light& light(int input) const { return std::get<Light>(*inputs[input][0].measured); }
  const Noise& noise(int input) const { return std::get<Noise>(*inputs[input][0].measured); }
};

// What is needed of the inputs for it.
struct Demand {
  int input, item, frame;
  Rect rect;
};

// The same with the pixels: get() covers at least what needs() asked for, where the input has pixels.
struct Making : Ask {
  std::function<const Picture&(int input, int item, int frame)> get;
  const Picture& picture(int input) const { return get(input, 0, frame); }
};

// What a node's files are, found without reading pixels.
struct Survey {
  int width = 0, height = 0;  // 0: says nothing about the size of the plate.
  int first = 1, last = 1;
  std::vector<int> frames;  // Those that are there, ascending; empty: one picture for all.
  std::string identity;     // Changes when the files change.
  double rate = 0;          // Frames a second; 0: says nothing about it.
  std::string timecode;     // Of the first frame (SMPTE ST 12-1); empty: none.
  Problems warnings;
  std::shared_ptr<const void> opened;  // What load() reads from, kept open between frames; the kind knows its type.
  Rect active;  // Of letterboxed footage the part that holds picture, at full size; empty: all of it does.
  bool windows_vary = false;    // Frames may have pixels outside their size, or fewer.
  std::vector<double> numbers;  // What a file of numbers holds, in an order its kind knows.
};

// A frame, and what a person should know of how it was read.
struct Loaded {
  Picture picture;
  Problems warnings = {};
};

struct Measuring {
  const Shot& shot;
  const std::vector<std::vector<Connection>>& inputs;
  std::function<Result<Picture>(int input, int item, int frame)> get;  // Whole frames at full size.
  const Runner& runner;
  std::function<bool(int done, int total)> progress;  // False: stop.
  std::function<void(Problem)> warn;                  // Of files the measure reads itself.

  bool has(int input) const { return !inputs[input].empty(); }
  const Motion& motion(int input) const { return std::get<Motion>(*inputs[input][0].measured); }
  const Lens& lens(int input) const { return std::get<Lens>(*inputs[input][0].measured); }
};

struct Delivering {
  const Shot& shot;
  int frame;
  const Picture& picture;
  std::string origin;  // What the frame comes from, for the file to say.
  std::string target;  // What the program was built for.
};

// One file for all frames (a movie), being written.
class Reel {
 public:
  virtual ~Reel() = default;  // What was not finished leaves no file behind.
  // In any order, from any thread. The value holds warnings.
  virtual Result<Problems> add(int frame, const Picture& picture) = 0;
  virtual Result<void> finish() = 0;  // After every frame.
};

struct Opening {
  const Shot& shot;
  const std::vector<int>& frames;                         // Those that will come, ascending.
  const std::vector<std::vector<const Survey*>>& inputs;  // [input][item]; null: reads no files.
  std::string origin;                                     // What the frames come from, for the file to say.
  std::string target;                                     // What the program was built for.
};

struct Hooks {
  // Any kind that reads files: what they are. The shot's size and frames are not known yet, its folder is.
  std::function<Result<Survey>(const void* params, const Shot&)> survey = {};
  // source: one whole frame in scene-linear light at the shot's scale; and its window alone, where windows vary.
  std::function<Result<Loaded>(const void* params, const Shot&, const Survey&, int frame)> load = {};
  std::function<Rect(const void* params, const Shot&, const Survey&, int frame)> window = {};
  // maker, bake, and a measure that draws (an outline): reach, and pixels. Without needs(), every picture input is
  // needed at the same frame and rectangle.
  std::function<std::vector<Demand>(const void* params, const Ask&)> needs = {};
  std::function<Picture(const void* params, const Making&)> make = {};
  // maker: where the result can have pixels; without it: where any input has.
  std::function<Rect(const void* params, const Ask&)> extent = {};
  // measure, bake
  std::function<Result<Measured>(const void* params, const Measuring&)> measure = {};
  std::function<Result<void>(const Measured&, const std::string& path_stem, const std::string& key)> save = {};
  std::function<Result<Measured>(const std::string& path_stem, const std::string& key)> recall = {};
  std::function<Problems(const Measured&)> remarks = {};  // What a person should know of the result.
  // sink: the file of a frame, what the one that is there says it came from (empty: nothing), and its writing.
  std::function<std::string(const void* params, const Shot&, int frame)> target = {};
  std::function<std::string(const void* params, const Shot&, int frame)> origin = {};
  std::function<Result<Problems>(const void* params, const Delivering&)> deliver = {};  // The value holds warnings.
  // sink that may put all frames into one file: that file, or null when each frame has one of its own. origin() is then
  // that of all frames.
  std::function<Result<std::unique_ptr<Reel>>(const void* params, const Opening&)> reel = {};
};

}  // namespace pw
