// One decoder going through a movie's packets, told which frame is wanted; and what it passed lately. Used by movie.cpp
// alone, under its lock.
#pragma once
#include <deque>
#include <map>
#include <memory>
#include <set>

#include "comp/media/lav.h"
#include "comp/media/movie_index.h"

namespace pw {

using MovieFrame = std::shared_ptr<const AVFrame>;

// Every packet of the stream, in order of the file, without decoding.
std::vector<PacketFacts> scan_packets(AVFormatContext& format, int stream);

// The packets in the order in which a decoder gives their frames out, for files without times of presentation (AVI):
// sets `time` of each to its place; those that gave no frame out are not shown.
Result<void> order_by_decoding(const std::string& path, int stream, std::vector<PacketFacts>& packets);

class MovieDecoder {
 public:
  MovieDecoder(std::string path, int stream, const MovieIndex& index)
      : path_(std::move(path)), stream_(stream), index_(index) {}
  // Problems name the file.
  Result<MovieFrame> frame(int n);

 private:
  enum class End { found, missed };
  Result<void> reopen();
  Result<void> go_to(int start);
  Result<End> decode_until(int n, MovieFrame& found);
  Result<bool> feed();  // False: there is no further packet.
  void send(int number, AVPacket* p);
  void note_checksum(int64_t told_before);
  bool damaged(int n) const;
  void keep(int n, const MovieFrame& f);
  tl::unexpected<Problems> wrong(std::string what, std::string remedy) const;

  const std::string path_;
  const int stream_;
  const MovieIndex& index_;
  lav::Format format_;
  lav::Codec codec_;
  int start_ = -1;         // Where this run began; -1: not yet.
  int next_ = 0;           // Packet the decoder gets next.
  int last_ = -1;          // Last frame that came out in this run.
  std::set<int> damaged_;  // Packets the decoder found fault with.
  std::string fault_;
  std::map<int, MovieFrame> kept_;
  std::deque<int> kept_order_;
  int64_t kept_bytes_ = 0;
};

}  // namespace pw
