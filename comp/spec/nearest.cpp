#include "comp/spec/nearest.h"

#include <algorithm>

namespace pw {
namespace {

size_t edits(std::string_view a, std::string_view b) {
  std::vector<std::vector<size_t>> d(a.size() + 1, std::vector<size_t>(b.size() + 1));
  for (size_t i = 0; i <= a.size(); ++i)
    for (size_t j = 0; j <= b.size(); ++j) {
      if (i == 0 || j == 0) {
        d[i][j] = i + j;
        continue;
      }
      d[i][j] = std::min({d[i - 1][j] + 1, d[i][j - 1] + 1, d[i - 1][j - 1] + (a[i - 1] != b[j - 1])});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        d[i][j] = std::min(d[i][j], d[i - 2][j - 2] + 1);
    }
  return d[a.size()][b.size()];
}

}  // namespace

std::string nearest(std::string_view word, const std::vector<std::string>& candidates) {
  if (word.size() > 64) return {};
  std::string best;
  size_t least = std::max<size_t>(1, word.size() / 3) + 1;
  for (const std::string& c : candidates) {
    if (c.size() >= word.size() + least) continue;  // Further away by its length alone.
    if (const size_t e = edits(word, c); e < least) least = e, best = c;
  }
  return best;
}

}  // namespace pw
