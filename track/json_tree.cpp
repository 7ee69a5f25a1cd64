#include "track/json_tree.h"

#include <algorithm>
#include <iterator>
#include <nlohmann/json.hpp>

namespace pw {
namespace {

constexpr size_t kDepth = 12, kLongest = size_t{64} << 20;

// Counts what the parser has taken, which is the only way to learn where it stands.
class Counting {
 public:
  using iterator_category = std::input_iterator_tag;
  using value_type = char;
  using difference_type = std::ptrdiff_t;
  using pointer = const char*;
  using reference = const char&;
  Counting(const char* at, const char** seen) : at_(at), seen_(seen) {}
  reference operator*() const { return *at_; }
  Counting& operator++() {
    ++at_;
    *seen_ = std::max(*seen_, at_);
    return *this;
  }
  Counting operator++(int) {
    Counting old = *this;
    ++*this;
    return old;
  }
  bool operator==(const Counting& o) const { return at_ == o.at_; }
  bool operator!=(const Counting& o) const { return at_ != o.at_; }

 private:
  const char* at_;
  const char** seen_;
};

struct Reader final : nlohmann::json_sax<nlohmann::json> {
  std::string_view source;
  const char* seen;
  const char* counted;  // Lines and columns are known up to here.
  int line = 1, column = 1;
  Json root;
  std::vector<Json*> open;
  std::string pending_key, error;

  explicit Reader(std::string_view s) : source(s), seen(s.data()), counted(s.data()) {}

  void place(Json& v) {
    for (; counted < seen; ++counted) *counted == '\n' ? (++line, column = 1) : ++column;
    v.line = line;
    v.column = std::max(1, column - 1);
  }
  bool add(Json v, bool opens = false) {
    place(v);
    Json* at = &root;
    if (!open.empty()) {
      Json& parent = *open.back();
      if (parent.kind == Json::Kind::list) {
        at = &parent.list.emplace_back();
      } else {
        if (parent.find(pending_key)) return refuse("the key '" + pending_key + "' is given twice");
        parent.table.push_back({pending_key, Json{}});
        at = &parent.table.back().second;
      }
    }
    *at = std::move(v);
    if (opens) {
      if (open.size() >= kDepth) return refuse("lists and tables are nested too deeply");
      open.push_back(at);
    }
    return true;
  }
  bool refuse(std::string why) {
    error = std::move(why);
    return false;
  }
  static Json of(Json::Kind k) {
    Json v;
    v.kind = k;
    return v;
  }
  bool number_of(double d) {
    Json v = of(Json::Kind::number);
    v.number = d;
    return add(std::move(v));
  }

  bool null() override { return add(Json{}); }
  bool boolean(bool b) override {
    Json v = of(Json::Kind::boolean);
    v.boolean = b;
    return add(std::move(v));
  }
  bool number_integer(number_integer_t n) override { return number_of(static_cast<double>(n)); }
  bool number_unsigned(number_unsigned_t n) override { return number_of(static_cast<double>(n)); }
  bool number_float(number_float_t n, const string_t&) override { return number_of(n); }
  bool string(string_t& s) override {
    Json v = of(Json::Kind::text);
    v.text = std::move(s);
    return add(std::move(v));
  }
  bool binary(binary_t&) override { return refuse("binary data is no JSON"); }
  bool start_object(std::size_t) override { return add(of(Json::Kind::table), true); }
  bool start_array(std::size_t) override { return add(of(Json::Kind::list), true); }
  bool end_object() override { return open.pop_back(), true; }
  bool end_array() override { return open.pop_back(), true; }
  bool key(string_t& k) override {
    pending_key = std::move(k);
    return true;
  }
  bool parse_error(std::size_t, const std::string&, const nlohmann::detail::exception& e) override {
    // Keep the parser's explanation, drop its own tag and position.
    const std::string all = e.what();
    const size_t colon = all.find(": ", all.find("column"));
    return refuse(colon == std::string::npos ? "it is no JSON" : "it is no JSON: " + all.substr(colon + 2));
  }
};

}  // namespace

const Json* Json::find(std::string_view key) const {
  for (const auto& [k, v] : table)
    if (k == key) return &v;
  return nullptr;
}

std::string_view name(Json::Kind k) {
  constexpr std::string_view names[] = {"null", "true or false", "a number", "text", "a list", "a table"};
  return names[static_cast<int>(k)];
}

Result<Json> parse_json(std::string_view text, const std::string& file) {
  if (text.size() > kLongest) return fail(Problem{.what = "the file is longer than 64 MB", .file = file});
  Reader reader(text);
  // The parser copies its iterators, so they share one counter, which the reader looks at.
  const Counting begin(text.data(), &reader.seen), end(text.data() + text.size(), &reader.seen);
  const bool ok = nlohmann::json::sax_parse(begin, end, &reader);
  if (ok && reader.error.empty()) return std::move(reader.root);
  Json here;
  reader.place(here);
  return fail(Problem{.what = reader.error.empty() ? "it is no JSON" : reader.error,
                      .file = file,
                      .line = here.line,
                      .column = here.column});
}

}  // namespace pw
