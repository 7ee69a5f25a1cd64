// The whole frames a measure looks at. The first problem met is kept: a frame that cannot be read ends a measure, since
// a gap in what it finds is worse than a message.
#pragma once
#include <vector>

#include "comp/matte/combine.h"
#include "comp/spec/hooks.h"

namespace pw {

class MeasuredFrames {
 public:
  explicit MeasuredFrames(const Measuring& m) : m_(m) {}
  // Empty after a problem.
  Picture get(int input, int item, int frame) const {
    if (!problems_.empty()) return {};
    auto p = m_.get(input, item, frame);
    if (p) return *p;
    problems_ = p.error();
    return {};
  }
  // All mattes of an input that takes a list, together; empty when none is connected.
  Picture mattes(int input, int frame) const {
    if (!m_.has(input)) return {};
    std::vector<Picture> all;
    for (size_t i = 0; i < m_.inputs[input].size(); ++i) all.push_back(get(input, static_cast<int>(i), frame));
    return problems_.empty() ? added(all, m_.shot.canvas()) : Picture();
  }
  const Problems& problems() const { return problems_; }

 private:
  const Measuring& m_;
  mutable Problems problems_;
};

}  // namespace pw
