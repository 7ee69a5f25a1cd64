#include "comp/media/movie_encoder.h"

extern "C" {
#include <libavutil/opt.h>
}
#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <filesystem>

#include "comp/colour/space_transform.h"
#include "comp/media/movie_tags.h"
#include "comp/media/structure.h"

namespace pw {
namespace {

std::string ending_of(std::string_view path) {
  std::string e = std::filesystem::path(path).extension().string();
  for (char& c : e) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return e;
}

Problem wrong(const std::string& path, std::string what, std::string remedy) {
  return {.what = std::move(what), .remedy = std::move(remedy), .file = path};
}

// Samples of Cb and Cr that several pixels share: to this power, in a row and in a column.
int share_x(Coder c) { return c == Coder::prores_hq || c == Coder::h264; }
int share_y(Coder c) { return c == Coder::h264; }

AVPixelFormat pixels_of(Coder c, Depth depth) {
  switch (c) {
    case Coder::prores_hq:
      return AV_PIX_FMT_YUV422P10LE;
    case Coder::prores_4444:
      return AV_PIX_FMT_YUVA444P10LE;
    case Coder::h264:
      return AV_PIX_FMT_YUV420P;
    case Coder::ffv1:
      break;
  }
  return depth == Depth::bits8 ? AV_PIX_FMT_BGR0 : depth == Depth::bits16 ? AV_PIX_FMT_GBRP16LE : AV_PIX_FMT_GBRP10LE;
}

template <class T>
void tag(T& to, const MoviePlan& plan) {
  const bool rgb = plan.coder == Coder::ffv1;
  to.color_primaries = plan.space ? AVCOL_PRI_UNSPECIFIED : AVCOL_PRI_BT709;
  to.color_trc = plan.space ? AVCOL_TRC_UNSPECIFIED : transfer_of(plan.encoding);
  to.colorspace = rgb ? AVCOL_SPC_RGB : AVCOL_SPC_BT709;
  to.color_range = rgb ? AVCOL_RANGE_JPEG : AVCOL_RANGE_MPEG;
}

// Pixels of four channels.
void divide_by_alpha(std::vector<float>& row) {
  for (size_t i = 0; i < row.size(); i += 4)
    if (row[i + 3] > 0)
      for (size_t c = 0; c < 3; ++c) row[i + c] /= row[i + 3];
}

}  // namespace

std::string_view name(Coder c) {
  constexpr std::string_view names[] = {"prores-hq", "prores-4444", "ffv1", "h264"};
  return names[static_cast<int>(c)];
}

std::optional<Coder> usual_coder(std::string_view path) {
  const std::string e = ending_of(path);
  if (e == ".mov") return Coder::prores_hq;
  if (e == ".mkv") return Coder::ffv1;
  if (e == ".mp4") return Coder::h264;
  return {};
}

Result<MoviePlan> plan_movie(const std::string& path, const MovieWriteOptions& o) {
  const std::string ending = ending_of(path);
  const auto usual = usual_coder(path);
  if (!usual)
    return fail(
        wrong(path, fmt::format("{} is not a kind of movie that is written", ending), "use .mov, .mp4 or .mkv"));
  const Coder coder = o.coder.value_or(*usual);
  const bool prores = coder == Coder::prores_hq || coder == Coder::prores_4444;
  if ((prores && ending == ".mp4") || (coder == Coder::ffv1 && ending != ".mkv"))
    return fail(
        wrong(path, fmt::format("{} does not go into {}", name(coder), ending), prores ? "use .mov" : "use .mkv"));
  const Depth usual_depth = coder == Coder::h264 ? Depth::bits8 : Depth::bits10;
  const Depth depth = o.depth.value_or(usual_depth);
  const bool has_depth =
      depth == usual_depth || (coder == Coder::ffv1 && (depth == Depth::bits8 || depth == Depth::bits16));
  if (!has_depth)
    return fail(wrong(path, fmt::format("{} has no depth \"{}\"", name(coder), name(depth)),
                      coder == Coder::ffv1 ? "choose 8, 10, 16" : fmt::format("it is always {}", name(usual_depth))));
  if (auto p = size_problem(o.width, o.height)) return fail(wrong(path, p->what, p->remedy));
  if ((share_x(coder) && o.width % 2) || (share_y(coder) && o.height % 2))
    return fail(wrong(path,
                      fmt::format("{} needs an even width{}, and the shot is {} x {}", name(coder),
                                  share_y(coder) ? " and height" : "", o.width, o.height),
                      "deliver prores-4444 or ffv1, or a size that is even"));
  return MoviePlan{coder, o.encoding.value_or(Encoding::rec709_camera), pixels_of(coder, depth),
                   ending == ".mov"   ? "mov"
                   : ending == ".mp4" ? "mp4"
                                      : "matroska",
                   o.space};
}

Result<lav::Codec> encoder(const std::string& path, const MoviePlan& plan, const MovieWriteOptions& o,
                           bool global_header) {
  constexpr const char* names[] = {"prores_ks", "prores_ks", "ffv1", "libx264"};
  const AVCodec* codec = avcodec_find_encoder_by_name(names[static_cast<int>(plan.coder)]);
  if (!codec)
    return fail(wrong(path,
                      fmt::format("this machine's FFmpeg libraries have no {}", names[static_cast<int>(plan.coder)]),
                      "install Debian's libavcodec, or deliver another way"));
  lav::Codec c(avcodec_alloc_context3(codec));
  if (!c) throw std::bad_alloc();
  c->width = o.width, c->height = o.height;
  c->pix_fmt = plan.pixels;
  c->time_base = {static_cast<int>(o.rate.den), static_cast<int>(o.rate.num)};
  c->framerate = {static_cast<int>(o.rate.num), static_cast<int>(o.rate.den)};
  c->sample_aspect_ratio = {1, 1};
  c->thread_count = 1;
  c->flags |= AV_CODEC_FLAG_BITEXACT;
  if (global_header) c->flags |= AV_CODEC_FLAG_GLOBAL_HEADER;
  tag(*c, plan);
  if (share_x(plan.coder)) c->chroma_sample_location = AVCHROMA_LOC_LEFT;
  void* own = c->priv_data;
  switch (plan.coder) {
    case Coder::prores_hq:
    case Coder::prores_4444:
      av_opt_set(own, "profile", plan.coder == Coder::prores_hq ? "hq" : "4444", 0);
      av_opt_set(own, "vendor", "apl0", 0);
      // The finest of its matrices (of "xq"), so that a smooth picture comes back code for code.
      if (plan.coder == Coder::prores_4444) av_opt_set_int(own, "quant_mat", 5, 0);
      break;
    case Coder::ffv1:
      c->level = 3;
      c->gop_size = 1;
      c->slices = 4;
      av_opt_set(own, "slicecrc", "1", 0);
      break;
    case Coder::h264:
      av_opt_set(own, "preset", "medium", 0);
      av_opt_set(own, "profile", "high", 0);
      av_opt_set(own, "crf", fmt::format("{}", o.rate_factor).c_str(), 0);
      c->gop_size =
          std::max(1, static_cast<int>(std::lround(o.rate.value())));  // So that a browser finds a frame quickly.
      break;
  }
  if (const int e = avcodec_open2(c.get(), codec, nullptr); e < 0)
    return fail(wrong(path, fmt::format("the encoder of {} cannot be set up ({})", name(plan.coder), lav::why(e)), ""));
  return c;
}

lav::Frame frame_of(const Picture& picture, const MoviePlan& plan, const MovieWriteOptions& o, int64_t& odd) {
  lav::Frame f = lav::frame();
  f->format = plan.pixels, f->width = o.width, f->height = o.height;
  if (av_frame_get_buffer(f.get(), 0) < 0) throw std::bad_alloc();
  tag(*f, plan);
  if (share_x(plan.coder)) f->chroma_location = AVCHROMA_LOC_LEFT;
  const bool rgb = plan.coder == Coder::ffv1;
  const Planes planes = *planes_of(*f);
  PlanesFromRows rows(planes, {rgb ? Matrix::none : Matrix::rec709, rgb ? Range::full : Range::narrow, kLeft});
  const int channels = picture.channels() == 2 || (plan.space && picture.channels() == 1) ? 3 : picture.channels();
  const Rect canvas = Rect::sized(o.width, o.height), inside = intersect(canvas, picture.window());
  std::vector<float> row(static_cast<size_t>(o.width) * channels);
  for (int y = 0; y < o.height; ++y) {
    std::fill(row.begin(), row.end(), 0.f);
    if (y >= inside.y0 && y < inside.y1 && !inside.empty()) {
      const float* in = picture.at(inside.x0, y);
      for (int x = inside.x0; x < inside.x1; ++x, in += picture.channels())
        std::copy_n(in, picture.channels(), &row[static_cast<size_t>(x) * channels]);
    }
    for (float& v : row)
      if (!std::isfinite(v)) v = 0, ++odd;
    if (channels == 4 && planes.alpha.data) divide_by_alpha(row);  // Stored straight.
    if (plan.space) {
      if (channels == 3 && picture.channels() == 1)
        for (int x = 0; x < o.width; ++x) row[3 * x + 1] = row[3 * x + 2] = row[3 * x];
      odd += transform(*plan.space, row.data(), static_cast<size_t>(o.width), channels);
    } else if (channels != 4) {
      encode(plan.encoding, row.data(), row.data(), row.size());
    } else {
      for (size_t i = 0; i < row.size(); i += 4) encode(plan.encoding, &row[i], &row[i], 3);
    }
    rows.row(y, row.data(), channels);
  }
  return f;
}

}  // namespace pw
