#include "comp/media/movie_index.h"

#include <fmt/format.h>

#include <algorithm>

namespace pw {

Result<MovieIndex> MovieIndex::make(std::vector<PacketFacts> packets) {
  MovieIndex m;
  m.packets_ = std::move(packets);
  int key = 0;
  for (int p = 0; p < m.packets(); ++p) {
    const PacketFacts& facts = m.packets_[p];
    if (facts.key) key = p;
    m.key_at_or_before_.push_back(key);
    m.unique_ = m.unique_ && facts.position >= 0 && m.at_.emplace(std::pair{facts.position, facts.size}, p).second;
    if (!facts.shown) continue;
    if (!facts.time)
      return fail(
          Problem{.what = fmt::format("frame {} in the file has no timestamp", p + 1),
                  .remedy = "put the movie into a new container with timestamps, or unpack it to numbered pictures"});
    m.order_.push_back(p);
  }
  if (m.order_.empty()) return fail(Problem{.what = "the movie has no frame", .remedy = "copy or export it again"});
  std::stable_sort(m.order_.begin(), m.order_.end(),
                   [&](int a, int b) { return *m.packets_[a].time < *m.packets_[b].time; });
  m.frame_.assign(m.packets_.size(), -1);
  for (int f = 0; f < m.frames(); ++f) {
    m.frame_[m.order_[f]] = f;
    m.times_.push_back(*m.packets_[m.order_[f]].time);
    if (f > 0 && m.times_[f] == m.times_[f - 1])
      return fail(Problem{.what = fmt::format("frames {} and {} have the same timestamp", f, f + 1),
                          .remedy = "put the movie into a new container, or unpack it to numbered pictures"});
  }
  return m;
}

int64_t MovieIndex::bytes() const {
  int64_t sum = 0;
  for (const PacketFacts& p : packets_) sum += p.size;
  return sum;
}

int MovieIndex::start_for(int frame) const {
  const int packet = order_[frame];
  int start = key_at_or_before_[packet];
  while (start > 0 && packets_[start].time && *packets_[start].time > times_[frame]) start = start_before(start);
  return start;
}

int MovieIndex::start_before(int start) const { return start > 0 ? key_at_or_before_[start - 1] : 0; }

std::optional<int> MovieIndex::find(int64_t position, int64_t size) const {
  if (!unique_) return {};
  const auto it = at_.find({position, size});
  return it == at_.end() ? std::nullopt : std::optional(it->second);
}

}  // namespace pw
