// Whatever bytes a movie has: the walk through its container ends with an answer, and an index made of any packets
// keeps its promises.
#include <algorithm>
#include <cstdint>
#include <cstdlib>

#include "comp/media/movie_index.h"
#include "comp/media/movie_structure.h"

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  (void)pw::movie_structure_problem(static_cast<int64_t>(size),
                                    [&](int64_t at, unsigned char* to, size_t count) -> size_t {
                                      if (at < 0 || at >= static_cast<int64_t>(size)) return 0;
                                      const size_t n = std::min(count, size - static_cast<size_t>(at));
                                      std::copy_n(data + at, n, to);
                                      return n;
                                    });
  std::vector<pw::PacketFacts> packets;
  for (size_t i = 0; i + 4 <= size && packets.size() < 200; i += 4) {
    const uint8_t* b = data + i;
    packets.push_back({b[0] == 255 ? -1 : b[0] * 7,
                       b[1],
                       b[2] == 255 ? std::nullopt : std::optional<int64_t>(b[2] - 20),
                       {},
                       (b[3] & 1) != 0,
                       (b[3] & 6) != 6});
  }
  const int count = static_cast<int>(packets.size());
  const auto index = pw::MovieIndex::make(std::move(packets));
  if (!index) return 0;
  for (int f = 0; f < index->frames(); ++f) {
    const int start = index->start_for(f), packet = index->packet_of(f);
    if (start < 0 || start > packet || packet >= count || index->frame_of(packet) != f) abort();
    if (f > 0 && index->times()[f] <= index->times()[f - 1]) abort();
    if (start > 0 && !index->packet(start).key) abort();
    if (start > 0 && index->start_before(start) >= start) abort();
  }
  return 0;
}
