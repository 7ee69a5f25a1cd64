// The colour spaces of a configuration of OpenColorIO (https://opencolorio.org), the only place that knows the library.
//
// Where scene-linear Rec.709 lies in a configuration is what a person says, or follows from its interchange roles: from
// a scene-referred space over `aces_interchange` (ACES2065-1, SMPTE ST 2065-1; its white adapted to D65 by Bradford's
// method, as the library has it), from a display-referred one over `cie_xyz_d65_interchange` without any view
// transform. Configurations of version 1 have no such roles.
#pragma once
#include <memory>
#include <string>
#include <vector>

#include "base/problem.h"
#include "comp/colour/space_transform.h"

namespace pw {

class Colours {
 public:
  // `linear`: the space of scene-linear light of Rec.709's primaries, white D65; empty: by the roles.
  // Problems: a file that is not there or that the library does not understand (they name it); a `linear` that is no
  // space of it or one of data (their node is "shot").
  static Result<std::shared_ptr<const Colours>> open(const std::string& file, const std::string& linear);
  virtual ~Colours() = default;

  virtual const std::string& file() const = 0;
  virtual std::vector<std::string> names() const = 0;    // Of spaces that hold colour.
  virtual std::vector<std::string> aliases() const = 0;  // And roles: what else find() takes.

  // From the space's values to scene-linear light, or back: the same object each time. Case does not matter. Thread
  // safe. Problems: no such space (without a remedy), a space of data, no way to scene-linear light (these name no file
  // and go on from the parameter's name: "is
  // ..."); a look-up file that is missing or broken, a transform that has no inverse (these name the configuration).
  enum class Way { reading, writing };
  virtual Result<std::shared_ptr<const SpaceTransform>> find(const std::string& space, Way way) const = 0;
};

}  // namespace pw
