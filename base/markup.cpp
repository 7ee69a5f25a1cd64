#include "base/markup.h"

namespace pw {

std::string base64(std::string_view bytes) {
  constexpr char kDigits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string text;
  text.reserve((bytes.size() + 2) / 3 * 4);
  for (size_t i = 0; i < bytes.size(); i += 3) {
    const size_t left = bytes.size() - i;
    const auto byte = [&](size_t k) { return k < left ? static_cast<unsigned char>(bytes[i + k]) : 0u; };
    const unsigned v = byte(0) << 16 | byte(1) << 8 | byte(2);
    text += kDigits[v >> 18];
    text += kDigits[v >> 12 & 63];
    text += left > 1 ? kDigits[v >> 6 & 63] : '=';
    text += left > 2 ? kDigits[v & 63] : '=';
  }
  return text;
}

std::string escaped(std::string_view text) {
  std::string e;
  for (char c : text) {
    if (c == '<')
      e += "&lt;";
    else if (c == '>')
      e += "&gt;";
    else if (c == '&')
      e += "&amp;";
    else if (c == '"')
      e += "&quot;";
    else
      e += c;
  }
  return e;
}

}  // namespace pw
