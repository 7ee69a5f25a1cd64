// Declares a kind: names each member of a plain Params struct once, with what a person must know about it.
#pragma once
#include <array>
#include <utility>

#include "comp/spec/kind.h"

namespace pw {

template <class Params>
class Declare {
 public:
  Declare(std::string_view name, Family family, int version, std::string_view doc) {
    kind_.name = name, kind_.family = family, kind_.version = version, kind_.doc = doc;
    kind_.fresh = [] { return std::make_shared<Params>(); };
  }
  Declare also(std::vector<std::string_view> words) && { return kind_.also = std::move(words), std::move(*this); }
  Declare restless() && { return kind_.restless = true, std::move(*this); }
  Declare whole() && { return kind_.whole = true, std::move(*this); }
  Declare input(Input i) && { return kind_.inputs.push_back(i), std::move(*this); }
  Declare output(Output o) && { return kind_.outputs.push_back(o), std::move(*this); }

  template <class T>
  Declare param(std::string_view name, T Params::*field, Say say) && {
    Param p{name, say, pack(Params{}.*field, say), {}, {}};
    p.set = [field, say](void* o, const Value& v) { unpack(static_cast<Params*>(o)->*field, v, say); };
    p.get = [field, say](const void* o) { return pack(static_cast<const Params*>(o)->*field, say); };
    kind_.params.push_back(std::move(p));
    return std::move(*this);
  }

  // f(const Params&, const Given&) -> std::optional<Complaint>
  template <class F>
  Declare rule(F f) && {
    kind_.rules.push_back([f](const void* p, const Given& g) { return f(of(p), g); });
    return std::move(*this);
  }
  // f(const Params&, const Shot&) -> std::optional<Complaint>
  template <class F>
  Declare fits_shot(F f) && {
    kind_.fits_shot.push_back([f](const void* p, const Shot& s) { return f(of(p), s); });
    return std::move(*this);
  }
  template <class F>
  Declare window(F f) && {
    return kind_.hooks.window = typed(f), std::move(*this);
  }
  template <class F>
  Declare survey(F f) && {
    return kind_.hooks.survey = typed(f), std::move(*this);
  }
  template <class F>
  Declare load(F f) && {
    return kind_.hooks.load = typed(f), std::move(*this);
  }
  template <class F>
  Declare needs(F f) && {
    return kind_.hooks.needs = typed(f), std::move(*this);
  }
  template <class F>
  Declare make(F f) && {
    return kind_.hooks.make = typed(f), std::move(*this);
  }
  template <class F>
  Declare extent(F f) && {
    return kind_.hooks.extent = typed(f), std::move(*this);
  }
  template <class F>
  Declare measure(F f) && {
    return kind_.hooks.measure = typed(f), std::move(*this);
  }
  template <class F>
  Declare target(F f) && {
    return kind_.hooks.target = typed(f), std::move(*this);
  }
  template <class F>
  Declare origin(F f) && {
    return kind_.hooks.origin = typed(f), std::move(*this);
  }
  template <class F>
  Declare deliver(F f) && {
    return kind_.hooks.deliver = typed(f), std::move(*this);
  }
  template <class F>
  Declare reel(F f) && {
    return kind_.hooks.reel = typed(f), std::move(*this);
  }
  template <class F>
  Declare save(F f) && {
    return kind_.hooks.save = f, std::move(*this);
  }
  template <class F>
  Declare recall(F f) && {
    return kind_.hooks.recall = f, std::move(*this);
  }
  template <class F>
  Declare remarks(F f) && {
    return kind_.hooks.remarks = f, std::move(*this);
  }
  operator Kind() && { return std::move(kind_); }

 private:
  static const Params& of(const void* p) { return *static_cast<const Params*>(p); }
  template <class F>
  static auto typed(F f) {
    return [f](const void* p, const auto&... rest) { return f(of(p), rest...); };
  }

  template <class T>
  static Value pack(const T& v, const Say& say) {
    if constexpr (std::is_enum_v<T>)
      return std::string(say.choices.at(static_cast<size_t>(v)));
    else if constexpr (std::is_same_v<T, bool> || std::is_same_v<T, double>)
      return v;
    else if constexpr (std::is_integral_v<T>)
      return int64_t{v};
    else
      return Value(v);
  }
  template <class T>
  static void unpack(T& to, const Value& v, const Say& say) {
    if constexpr (std::is_enum_v<T>) {
      for (size_t i = 0; i < say.choices.size(); ++i)
        if (say.choices[i] == std::get<std::string>(v)) to = static_cast<T>(i);
    } else if constexpr (std::is_same_v<T, bool> || std::is_same_v<T, double>) {
      to = std::get<T>(v);
    } else if constexpr (std::is_integral_v<T>) {
      to = static_cast<T>(std::get<int64_t>(v));
    } else {
      to = std::get<T>(v);
    }
  }
  Kind kind_;
};

}  // namespace pw
