#include "comp/colour/ocio.h"

#include <OpenColorIO/OpenColorIO.h>
#include <fmt/format.h>

#include <Eigen/LU>
#include <filesystem>
#include <map>
#include <mutex>

#include "comp/colour/primaries.h"

namespace pw {
namespace {

namespace ocio = OCIO_NAMESPACE;

// The library's message in one line, without a full stop.
std::string one_line(std::string s) {
  for (char& c : s)
    if (static_cast<unsigned char>(c) < ' ') c = ' ';
  std::string out;
  for (char c : s)
    if (c != ' ' || (!out.empty() && out.back() != ' ')) out += c;
  while (!out.empty() && (out.back() == ' ' || out.back() == '.')) out.pop_back();
  constexpr size_t kMost = 300;
  if (out.size() > kMost) out = out.substr(0, kMost) + " ...";
  return out;
}

std::string name_of(const std::string& path) { return path.substr(path.rfind('/') + 1); }

class Transform final : public SpaceTransform {
 public:
  // Without the library's approximations of powers and of inverse tables.
  Transform(const ocio::ConstConfigRcPtr& config, const ocio::ConstTransformRcPtr& transform,
            ocio::TransformDirection direction)
      : cpu_(config->getProcessor(transform, direction)
                 ->getOptimizedCPUProcessor(ocio::BIT_DEPTH_F32, ocio::BIT_DEPTH_F32, ocio::OPTIMIZATION_LOSSLESS)),
        identity_(fmt::format("OpenColorIO {} {}\n", ocio::GetVersion(), cpu_->getCacheID())) {}

  void apply(float* rgba, size_t count) const override {
    ocio::PackedImageDesc row(rgba, static_cast<long>(count), 1, ocio::CHANNEL_ORDERING_RGBA);
    cpu_->apply(row);
  }
  const std::string& identity() const override { return identity_; }

 private:
  ocio::ConstCPUProcessorRcPtr cpu_;
  std::string identity_;
};

// What the library would say on standard error is in its exceptions, or is not heeded.
void be_quiet() {
  static std::once_flag once;
  std::call_once(once, [] { ocio::SetLoggingLevel(ocio::LOGGING_LEVEL_NONE); });
}

ocio::MatrixTransformRcPtr rec709_from_xyz() {
  const Matrix3 m = xyz_from_rgb(kRec709).inverse();
  double m44[16] = {};
  for (int r = 0; r < 3; ++r)
    for (int c = 0; c < 3; ++c) m44[4 * r + c] = m(r, c);
  m44[15] = 1;
  auto t = ocio::MatrixTransform::Create();
  t->setMatrix(m44);
  return t;
}

class Configuration final : public Colours {
 public:
  Configuration(std::string file, std::string linear) : file_(std::move(file)), linear_(std::move(linear)) {
    // It keeps look-up files by their names alone.
    ocio::ClearAllCaches();
    config_ = ocio::Config::CreateFromFile(file_.c_str());
  }

  Result<void> check_linear() const {
    if (linear_.empty()) return {};
    const auto space = config_->getColorSpace(linear_.c_str());
    if (!space || space->isData())
      return fail(Problem{.what = fmt::format("shot.ocio_linear is \"{}\", which is no {} of {}", linear_,
                                              space ? "space for colour" : "colour space", name_of(file_)),
                          .remedy = "name its space of linear light of Rec.709's primaries",
                          .node = "shot"});
    return {};
  }

  const std::string& file() const override { return file_; }

  std::vector<std::string> names() const override {
    std::vector<std::string> all;
    each([&](const ocio::ConstColorSpaceRcPtr& s) { all.emplace_back(s->getName()); });
    return all;
  }

  std::vector<std::string> aliases() const override {
    std::vector<std::string> all;
    each([&](const ocio::ConstColorSpaceRcPtr& s) {
      for (size_t i = 0; i < s->getNumAliases(); ++i) all.emplace_back(s->getAlias(i));
    });
    for (int i = 0; i < config_->getNumRoles(); ++i) all.emplace_back(config_->getRoleName(i));
    return all;
  }

  Result<std::shared_ptr<const SpaceTransform>> find(const std::string& space, Way way) const override {
    const std::lock_guard lock(mutex_);
    auto& known = found_[{space, way}];
    if (known) return known;
    auto made = make(space, way);
    if (made) known = *made;
    return made;
  }

 private:
  template <class F>
  void each(F f) const {
    const auto active = ocio::SEARCH_REFERENCE_SPACE_ALL;
    for (int i = 0; i < config_->getNumColorSpaces(active, ocio::COLORSPACE_ACTIVE); ++i)
      if (const auto s = config_->getColorSpace(config_->getColorSpaceNameByIndex(active, ocio::COLORSPACE_ACTIVE, i));
          s && !s->isData())
        f(s);
  }

  bool has_role(const char* role) const { return config_->hasRole(role); }

  Result<std::shared_ptr<const SpaceTransform>> make(const std::string& name, Way way) const {
    const auto space = config_->getColorSpace(name.c_str());
    if (!space)
      return fail(Problem{.what = fmt::format("is \"{}\", which is no colour space of {}", name, name_of(file_))});
    if (space->isData())
      return fail(
          Problem{.what = fmt::format("is \"{}\", which {} keeps for data, not for colour", name, name_of(file_)),
                  .remedy = "name a space of colour; linear reads numbers as they are"});
    const bool display = space->getReferenceSpaceType() == ocio::REFERENCE_SPACE_DISPLAY;
    const char* role = display ? ocio::ROLE_INTERCHANGE_DISPLAY : ocio::ROLE_INTERCHANGE_SCENE;
    if (linear_.empty() && !has_role(role))
      return fail(Problem{
          .what = fmt::format("is \"{}\", but {} does not say where linear Rec.709 light lies: it has no role {}", name,
                              name_of(file_), role),
          .remedy = "name its space of that: shot = { ocio_linear = \"...\" }"});
    auto to_linear = ocio::GroupTransform::Create();
    auto hop = ocio::ColorSpaceTransform::Create();
    hop->setSrc(name.c_str());
    hop->setDst(linear_.empty() ? role : linear_.c_str());
    to_linear->appendTransform(hop);
    if (linear_.empty()) {
      if (!display) {
        auto adapted = ocio::BuiltinTransform::Create();
        adapted->setStyle("UTILITY - ACES-AP0_to_CIE-XYZ-D65_BFD");
        to_linear->appendTransform(adapted);
      }
      to_linear->appendTransform(rec709_from_xyz());
    }
    const bool reading = way == Way::reading;
    try {
      return std::make_shared<const Transform>(config_, to_linear,
                                               reading ? ocio::TRANSFORM_DIR_FORWARD : ocio::TRANSFORM_DIR_INVERSE);
    } catch (const ocio::ExceptionMissingFile& e) {
      return fail(Problem{.what = fmt::format("a file that \"{}\" needs is not there ({})", name, one_line(e.what())),
                          .remedy = "put it where the configuration looks for it",
                          .file = file_});
    } catch (const std::exception& e) {
      return fail(Problem{
          .what = fmt::format("\"{}\" cannot be {} ({})", name, reading ? "read" : "written", one_line(e.what())),
          .remedy = "name another colour space, or mend the configuration",
          .file = file_});
    }
  }

  std::string file_, linear_;
  ocio::ConstConfigRcPtr config_;
  mutable std::mutex mutex_;
  mutable std::map<std::pair<std::string, Way>, std::shared_ptr<const SpaceTransform>> found_;
};

}  // namespace

Result<std::shared_ptr<const Colours>> Colours::open(const std::string& file, const std::string& linear) {
  be_quiet();
  std::error_code error;
  if (const bool in_library = file.find("://") != std::string::npos;
      !in_library && !std::filesystem::exists(file, error))
    return fail(Problem{.what = "there is no such configuration of OpenColorIO",
                        .remedy = "name the file that ends in .ocio",
                        .file = file});
  try {
    auto c = std::make_shared<const Configuration>(file, linear);
    if (auto ok = c->check_linear(); !ok) return fail(ok.error());
    return c;
  } catch (const std::exception& e) {
    return fail(Problem{.what = fmt::format("this is no configuration of OpenColorIO ({})", one_line(e.what())),
                        .remedy = "name the file that ends in .ocio",
                        .file = file});
  }
}

}  // namespace pw
