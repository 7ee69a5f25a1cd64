#include "comp/media/codec.h"

#include <mutex>

namespace pw::codec {
namespace {

void settle() {
  static std::once_flag once;
  std::call_once(once, [] {
    // Threads are the application's; with 1 OpenEXR works in the thread that calls it.
    OIIO::attribute("threads", 1);
    OIIO::attribute("exr_threads", 1);
  });
}

const char* plugin(FileType t) {
  switch (t) {
    case FileType::exr:
      return "openexr";
    case FileType::png:
      return "png";
    case FileType::tiff:
      return "tiff";
    case FileType::dpx:
      return "dpx";
    default:
      return "jpeg";
  }
}

}  // namespace

size_t Source::read(void* to, size_t size) {
  const size_t n = IOMemReader::read(to, size);
  past_end_ |= n < size;
  return n;
}

size_t Source::pread(void* to, size_t size, int64_t offset) {
  // The base class takes a negative offset for a place before the buffer.
  const size_t n = offset < 0 ? 0 : IOMemReader::pread(to, size, offset);
  past_end_ |= n < size;
  return n;
}

std::unique_ptr<OIIO::ImageInput> reader(FileType t) {
  settle();
  return OIIO::ImageInput::create(plugin(t));
}

std::unique_ptr<OIIO::ImageOutput> writer(FileType t) {
  settle();
  return OIIO::ImageOutput::create(plugin(t));
}

std::string first_line(const std::string& message) { return message.substr(0, message.find('\n')); }

}  // namespace pw::codec
