#include "comp/graph/toml_hazard.h"

namespace pw {
namespace {

constexpr int kDots = 16;

// Steps through the text, counting lines and columns, over whole strings and comments.
class Walk {
 public:
  explicit Walk(std::string_view text) : text_(text) {
    if (text.starts_with("\xEF\xBB\xBF")) i_ = 3;  // A byte order mark is no letter.
  }

  std::optional<TomlHazard> run() {
    int dots = 0;
    for (; i_ < text_.size(); step()) {
      const char c = text_[i_];
      if (static_cast<unsigned char>(c) >= 0x80)
        return at("this is not TOML: a letter with an accent, or of another script, stands outside of quotes",
                  "put the text in quotes; names of nodes and parameters use plain letters");
      if (c == '#') {
        while (i_ + 1 < text_.size() && text_[i_ + 1] != '\n') step();
      } else if (c == '"' || c == '\'') {
        text_.substr(i_, 3) == std::string(3, c) ? skip_lines(c) : skip_word(c);
      } else if (c == '.') {
        if (++dots > kDots)
          return at("a key has more than 16 dots", "a node is a table, and a parameter an entry in it");
      } else if (std::string_view("\n=,{}[]").find(c) != std::string_view::npos) {
        dots = 0;
      }
    }
    return std::nullopt;
  }

 private:
  void step() {
    if (text_[i_] == '\n')
      ++line_, column_ = 1;
    else if ((static_cast<unsigned char>(text_[i_]) & 0xC0) != 0x80)  // Not inside a character of several bytes.
      ++column_;
    ++i_;
  }
  TomlHazard at(std::string what, std::string remedy) const {
    return {std::move(what), std::move(remedy), line_, column_};
  }

  // To the closing quote, or before the end of the line, where the library tells the mistake.
  void skip_word(char quote) {
    while (i_ + 1 < text_.size() && text_[i_ + 1] != '\n') {
      step();
      if (text_[i_] == quote) return;
      if (quote == '"' && text_[i_] == '\\' && i_ + 1 < text_.size() && text_[i_ + 1] != '\n') step();
    }
  }
  // To the last of the closing three quotes; two more may belong to the text before them.
  void skip_lines(char quote) {
    for (int k = 0; k < 2; ++k) step();
    while (i_ + 1 < text_.size()) {
      step();
      if (quote == '"' && text_[i_] == '\\' && i_ + 1 < text_.size()) {
        step();
      } else if (text_.substr(i_, 3) == std::string(3, quote)) {
        for (int k = 0; k < 4 && i_ + 1 < text_.size() && text_[i_ + 1] == quote; ++k) step();
        return;
      }
    }
  }

  std::string_view text_;
  size_t i_ = 0;
  int line_ = 1, column_ = 1;
};

}  // namespace

std::optional<TomlHazard> toml_hazard(std::string_view text) { return Walk(text).run(); }

}  // namespace pw
