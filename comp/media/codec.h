// OpenImageIO as this room uses it: one thread, a named reader or writer instead of a search by extension, and memory
// instead of files. Included by the still readers and writers alone.
#pragma once
#include <OpenImageIO/filesystem.h>
#include <OpenImageIO/imageio.h>

#include <memory>
#include <string>

#include "comp/media/signature.h"

namespace pw::codec {

// A file in memory that remembers whether more was asked for than there is.
class Source : public OIIO::Filesystem::IOMemReader {
 public:
  explicit Source(ByteSpan bytes) : IOMemReader(bytes.data(), bytes.size()) {}
  size_t read(void* to, size_t size) override;
  size_t pread(void* to, size_t size, int64_t offset) override;
  bool read_past_end() const { return past_end_; }

 private:
  bool past_end_ = false;
};

std::unique_ptr<OIIO::ImageInput> reader(FileType t);
std::unique_ptr<OIIO::ImageOutput> writer(FileType t);

// The first line of what OpenImageIO says of its last failure.
std::string first_line(const std::string& message);

}  // namespace pw::codec
