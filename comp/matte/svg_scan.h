// Numbers out of the text of SVG attributes: Scalable Vector Graphics (SVG) 1.1, second edition, W3C 2011.
#pragma once
#include <charconv>
#include <cmath>
#include <optional>
#include <string_view>

namespace pw {

class SvgScan {
 public:
  explicit SvgScan(std::string_view text) : text_(text) {}

  size_t position() const { return at_; }
  bool done() const { return at_ == text_.size(); }
  char peek() const { return done() ? '\0' : text_[at_]; }
  std::string_view text() const { return text_; }

  void skip_space() {
    while (!done() && (peek() == ' ' || peek() == '\t' || peek() == '\n' || peek() == '\r' || peek() == '\f')) ++at_;
  }
  // White space with at most one comma in it.
  void skip_separator() {
    skip_space();
    if (take(',')) skip_space();
  }
  bool take(char c) {
    if (peek() != c || done()) return false;
    ++at_;
    return true;
  }
  std::string_view take_word() {
    const size_t start = at_;
    while (!done() && ((peek() | 32) >= 'a' && (peek() | 32) <= 'z')) ++at_;
    return text_.substr(start, at_ - start);
  }
  // A finite number that starts right here; nothing, and no step forward, when there is none.
  std::optional<double> take_number() {
    size_t start = at_;
    if (start < text_.size() && text_[start] == '+') ++start;
    const size_t digit = start == at_ && start < text_.size() && text_[start] == '-' ? start + 1 : start;
    if (digit >= text_.size() ||
        !(is_digit(text_[digit]) || (text_[digit] == '.' && digit + 1 < text_.size() && is_digit(text_[digit + 1]))))
      return std::nullopt;
    double value = 0;
    const auto [end, error] = std::from_chars(text_.data() + start, text_.data() + text_.size(), value);
    if (error != std::errc() || !std::isfinite(value)) return std::nullopt;
    at_ = static_cast<size_t>(end - text_.data());
    return value;
  }

 private:
  static bool is_digit(char c) { return c >= '0' && c <= '9'; }
  std::string_view text_;
  size_t at_ = 0;
};

}  // namespace pw
