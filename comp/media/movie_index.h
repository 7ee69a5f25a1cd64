// Where every frame of a movie is, from one look at its packets: in which order they are shown, and from which packet a
// decoder must start to get one of them right.
//
// Packets lie in decoding order, frames are shown in the order of their presentation times. A decoder may start at a
// key packet, but a frame that comes after it in the file and is shown before it (a leading picture of an open group)
// leans on packets before that key: such a frame starts from the key before.
#pragma once
#include <cstdint>
#include <map>
#include <optional>
#include <vector>

#include "base/problem.h"

namespace pw {

struct PacketFacts {
  int64_t position = -1;        // In the file; -1: not known.
  int64_t size = 0;             // Bytes.
  std::optional<int64_t> time;  // Of presentation, in ticks.
  std::optional<int64_t> decoding_time;
  bool key = false;
  bool shown = true;  // False: decoded only because others lean on it.
};

class MovieIndex {
 public:
  // Problems, without a file: nothing shown, a frame without a time (its number in decoding order is told), two frames
  // at one time.
  static Result<MovieIndex> make(std::vector<PacketFacts> packets);

  int frames() const { return static_cast<int>(order_.size()); }
  int packets() const { return static_cast<int>(packets_.size()); }
  const PacketFacts& packet(int p) const { return packets_[p]; }
  int64_t bytes() const;  // Of all packets.
  int packet_of(int frame) const { return order_[frame]; }
  int frame_of(int packet) const { return frame_[packet]; }     // -1: not shown.
  const std::vector<int64_t>& times() const { return times_; }  // Per frame, ascending.

  // The last key packet a decoder may start from for a frame; and the one before a start, for decoders that find it was
  // not good enough. 0 is always the last resort.
  int start_for(int frame) const;
  int start_before(int start) const;
  // True when a fault in the packet may show in the frame.
  bool leans_on(int frame, int packet) const { return start_for(frame) <= packet && packet <= order_[frame]; }

  // Which packet lies at a place of the file; nothing when that is not unique or not known.
  std::optional<int> find(int64_t position, int64_t size) const;
  bool can_seek() const { return unique_; }

 private:
  std::vector<PacketFacts> packets_;
  std::vector<int> order_, frame_;
  std::vector<int64_t> times_;
  std::vector<int> key_at_or_before_;
  std::map<std::pair<int64_t, int64_t>, int> at_;
  bool unique_ = true;
};

}  // namespace pw
