#include "comp/media/movie_tags.h"

extern "C" {
#include <libavutil/display.h>
}
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace pw {
namespace {

const AVPixFmtDescriptor& description(const AVFrame& f) {
  return *av_pix_fmt_desc_get(static_cast<AVPixelFormat>(f.format));
}

bool is_rgb(const AVFrame& f) { return description(f).flags & AV_PIX_FMT_FLAG_RGB; }

Component component(const AVFrame& f, int index, bool big_endian) {
  const AVComponentDescriptor& c = description(f).comp[index];
  return {f.data[c.plane] + c.offset, f.linesize[c.plane], c.step, c.depth, c.shift, big_endian};
}

// A tag of the frame, or else of the stream.
template <class T>
T tag(T of_frame, T of_stream, T unspecified) {
  return of_frame != unspecified ? of_frame : of_stream;
}

template <class T>
Known<T> asked(const T& value) {
  return {value, "as asked"};
}

std::optional<Matrix> matrix_of(AVColorSpace s) {
  switch (s) {
    case AVCOL_SPC_RGB:
      return Matrix::none;
    case AVCOL_SPC_BT709:
      return Matrix::rec709;
    case AVCOL_SPC_BT470BG:
    case AVCOL_SPC_SMPTE170M:
      return Matrix::rec601;
    case AVCOL_SPC_FCC:
      return Matrix::fcc;
    case AVCOL_SPC_SMPTE240M:
      return Matrix::smpte240;
    case AVCOL_SPC_BT2020_NCL:
      return Matrix::rec2020;
    default:
      return {};
  }
}

// A curve and what it decodes as; of an encoding the first is what is written.
constexpr std::pair<AVColorTransferCharacteristic, Encoding> kTransfers[] = {
    {AVCOL_TRC_BT709, Encoding::rec709_camera},     {AVCOL_TRC_SMPTE170M, Encoding::rec709_camera},
    {AVCOL_TRC_BT2020_10, Encoding::rec709_camera}, {AVCOL_TRC_BT2020_12, Encoding::rec709_camera},
    {AVCOL_TRC_IEC61966_2_1, Encoding::srgb},       {AVCOL_TRC_LINEAR, Encoding::linear},
    {AVCOL_TRC_ARIB_STD_B67, Encoding::hlg},        {AVCOL_TRC_SMPTE2084, Encoding::pq}};

std::optional<Encoding> encoding_of(AVColorTransferCharacteristic t) {
  const auto found = std::ranges::find(kTransfers, t, &std::pair<AVColorTransferCharacteristic, Encoding>::first);
  return found == std::end(kTransfers) ? std::nullopt : std::optional(found->second);
}

Problem warning(std::string what, std::string remedy) {
  return {.what = std::move(what), .remedy = std::move(remedy), .severity = Severity::warning};
}

Result<void> settle_matrix(const AVFrame& f, const AVStream& stream, const MovieOptions& o, MovieInfo& info) {
  const AVColorSpace space = tag(f.colorspace, stream.codecpar->color_space, AVCOL_SPC_UNSPECIFIED);
  if (is_rgb(f)) {
    info.matrix = {Matrix::none, "it is stored as RGB"};
  } else if (description(f).nb_components < 3) {
    info.matrix = {Matrix::rec709, "it is grey"};
  } else if (o.matrix) {
    info.matrix = asked(*o.matrix);
  } else if (const auto m = matrix_of(space); m && space != AVCOL_SPC_UNSPECIFIED && *m != Matrix::none) {
    info.matrix = {*m, "as the file says"};
  } else if (space == AVCOL_SPC_UNSPECIFIED || (m && *m == Matrix::none)) {
    const bool large = f.height >= 720;
    info.matrix = {large ? Matrix::rec709 : Matrix::rec601,
                   large ? "usual from 720 lines up" : "usual below 720 lines"};
    info.warnings.push_back(warning(
        fmt::format("the movie does not say by which matrix its colour was made; {} is taken, as usual {} 720 lines",
                    name(info.matrix.value), large ? "from" : "below"),
        "say matrix = \"rec709\" or \"rec601\" if colours look wrong, or to have it quiet"));
  } else {
    const char* called = av_color_space_name(space);
    return fail(
        {.what = fmt::format("the matrix of its colour is {}, which is not handled", called ? called : "unknown"),
         .remedy = "convert it to rec709, or name a matrix to read it as"});
  }
  return {};
}

void settle_range(const AVFrame& f, const AVStream& stream, const MovieOptions& o, MovieInfo& info) {
  const AVColorRange range = tag(f.color_range, stream.codecpar->color_range, AVCOL_RANGE_UNSPECIFIED);
  if (o.range)
    info.range = asked(*o.range);
  else if (range != AVCOL_RANGE_UNSPECIFIED)
    info.range = {range == AVCOL_RANGE_JPEG ? Range::full : Range::narrow, "as the file says"};
  else if (is_rgb(f) || description(f).nb_components < 3)
    info.range = {Range::full, "usual for RGB and grey"};
  else
    info.range = {Range::narrow, "usual for movies"};
}

void settle_siting(const AVFrame& f, const AVStream& stream, const MovieOptions& o, MovieInfo& info) {
  constexpr std::array sites = {kLeft, kCentre, kTopLeft, Siting{0.5, 0}, Siting{0, 1}, Siting{0.5, 1}};
  const AVChromaLocation l = tag(f.chroma_location, stream.codecpar->chroma_location, AVCHROMA_LOC_UNSPECIFIED);
  if (o.siting)
    info.siting = asked(*o.siting);
  else if (l > AVCHROMA_LOC_UNSPECIFIED && l < AVCHROMA_LOC_NB)
    info.siting = {sites[l - AVCHROMA_LOC_LEFT], "as the file says"};
  else if (stream.codecpar->codec_id == AV_CODEC_ID_MJPEG)
    info.siting = {kCentre, "usual for JPEG"};
  else
    info.siting = {kLeft, "usual for movies"};
}

Result<void> settle_encoding(const AVFrame& f, const AVStream& stream, const MovieOptions& o, MovieInfo& info) {
  const auto t = tag(f.color_trc, stream.codecpar->color_trc, AVCOL_TRC_UNSPECIFIED);
  const auto known = encoding_of(t);
  if (o.space) {
    info.encoding = {Encoding::linear, "as asked"};  // The codes as they are.
    return {};
  }
  if (o.encoding) {
    info.encoding = asked(*o.encoding);
  } else if (known) {
    info.encoding = {*known, "as the file says"};
  } else if (t == AVCOL_TRC_UNSPECIFIED) {
    info.encoding = {Encoding::rec709_camera, "usual for movies"};
  } else {
    const char* called = av_color_transfer_name(t);
    return fail(
        Problem{.what = fmt::format("its transfer curve is {}, which is not handled", called ? called : "unknown"),
                .remedy = "name an encoding to read it as"});
  }
  const auto p = tag(f.color_primaries, stream.codecpar->color_primaries, AVCOL_PRI_UNSPECIFIED);
  // BT.2100 has no other primaries for its curves.
  const bool bt2100 = info.encoding.value == Encoding::hlg || info.encoding.value == Encoding::pq;
  info.rec2020 = p == AVCOL_PRI_BT2020 || (p == AVCOL_PRI_UNSPECIFIED && bt2100);
  if (p == AVCOL_PRI_UNSPECIFIED) return {};
  const char* called = av_color_primaries_name(p);
  info.primaries = called ? called : "unknown";
  if (!info.rec2020 && p != AVCOL_PRI_BT709 && p != AVCOL_PRI_SMPTE170M && p != AVCOL_PRI_BT470BG &&
      p != AVCOL_PRI_SMPTE240M)
    info.warnings.push_back(
        warning(fmt::format("the movie's primaries are {}; they are taken for those of Rec.709", info.primaries),
                "convert it to Rec.709 first if colours look dull"));
  return {};
}

}  // namespace

AVColorTransferCharacteristic transfer_of(Encoding e) {
  const auto found = std::ranges::find(kTransfers, e, &std::pair<AVColorTransferCharacteristic, Encoding>::second);
  return found == std::end(kTransfers) ? AVCOL_TRC_BT709 : found->first;
}

std::optional<Planes> planes_of(const AVFrame& f) {
  const AVPixFmtDescriptor* d = av_pix_fmt_desc_get(static_cast<AVPixelFormat>(f.format));
  if (!d) return {};
  constexpr uint64_t foreign = AV_PIX_FMT_FLAG_PAL | AV_PIX_FMT_FLAG_BITSTREAM | AV_PIX_FMT_FLAG_HWACCEL |
                               AV_PIX_FMT_FLAG_BAYER | AV_PIX_FMT_FLAG_FLOAT;
  if (d->flags & foreign) return {};
  const bool alpha = d->flags & AV_PIX_FMT_FLAG_ALPHA, big_endian = d->flags & AV_PIX_FMT_FLAG_BE;
  const int colours = d->nb_components - alpha;
  if (colours != 1 && colours != 3) return {};
  for (int i = 0; i < d->nb_components; ++i) {
    const AVComponentDescriptor& c = d->comp[i];
    if (c.depth < 8 || c.depth > 16 || c.depth + c.shift > 16 || (c.depth > 8 && c.step < 2)) return {};
    if (c.depth == 8 && c.shift != 0) return {};
  }
  Planes p{.width = f.width, .height = f.height, .colours = colours};
  if (colours == 3) p.share_x = d->log2_chroma_w, p.share_y = d->log2_chroma_h;
  for (int i = 0; i < colours; ++i) p.colour[i] = component(f, i, big_endian);
  if (alpha) p.alpha = component(f, colours, big_endian);
  return p;
}

std::string sampling_text(const AVFrame& f) {
  const auto p = planes_of(f);
  const char* own = av_get_pix_fmt_name(static_cast<AVPixelFormat>(f.format));
  if (!p) return own ? own : "unknown";
  std::string text;
  if (p->colours == 1)
    text = "grey";
  else if (is_rgb(f))
    text = "RGB";
  else if (p->share_x == 0)
    text = p->share_y == 0 ? "4:4:4" : "4:4:0";
  else if (p->share_x == 1)
    text = p->share_y == 0 ? "4:2:2" : "4:2:0";
  else
    text = p->share_y == 0 ? "4:1:1" : "4:1:0";
  return p->alpha.data ? text + " + alpha" : text;
}

Result<void> settle_colour(const AVFrame& frame, const AVStream& stream, const MovieOptions& options, MovieInfo& info) {
  if (auto r = settle_matrix(frame, stream, options, info); !r) return r;
  settle_range(frame, stream, options, info);
  settle_siting(frame, stream, options, info);
  return settle_encoding(frame, stream, options, info);
}

Result<int> orientation_of(const AVStream& stream) {
  size_t size = 0;
  const auto* bytes = av_stream_get_side_data(&stream, AV_PKT_DATA_DISPLAYMATRIX, &size);
  if (!bytes || size < 9 * sizeof(int32_t)) return 1;
  const auto* m = reinterpret_cast<const int32_t*>(bytes);
  // x' = a x + c y, y' = b x + d y, in 16.16: the eight with entries of 0 and +-1, as TIFF 6.0 numbers them.
  const auto unit = [](int32_t v) {
    return std::abs(v) < 66 ? 0 : std::abs(std::abs(v) - 65536) < 66 ? (v > 0 ? 1 : -1) : 2;
  };
  const int a = unit(m[0]), b = unit(m[1]), c = unit(m[3]), d = unit(m[4]);
  constexpr int known[8][4] = {{1, 0, 0, 1}, {-1, 0, 0, 1}, {-1, 0, 0, -1}, {1, 0, 0, -1},
                               {0, 1, 1, 0}, {0, 1, -1, 0}, {0, -1, -1, 0}, {0, -1, 1, 0}};
  for (int o = 0; o < 8; ++o)
    if (known[o][0] == a && known[o][1] == b && known[o][2] == c && known[o][3] == d) return o + 1;
  return fail(
      Problem{.what = fmt::format("the movie is to be shown turned by {:.1f} degrees", -av_display_rotation_get(m)),
              .remedy = "turn it by quarters only, or take the turning out of the file"});
}

}  // namespace pw
