// Which pixels show the plane. A pixel that shows something else differs by more than noise and by more than what the
// uncertainty of the position explains where the texture is steep, and so do its neighbours: the evidence is gathered
// over a small window, so that an occluder is cut out whole, its chance agreements included.
#pragma once
#include <vector>

#include "base/parallel.h"
#include "track/normal.h"

namespace pw {

struct VisibilityInput {
  const Raster *reference, *frame;  // Footprints matched, validity in the fourth float.
  const Raster* slope;              // d code / d linear of each channel, at the predicted value.
  const float* mask;                // Share of each pixel to be used, over the window of `reference` shrunk by kHalo.
  int channels = 3;
  double sigma = 0.005;      // Noise of the difference, encoded code values.
  double position_px = 0.1;  // What the position may still be wrong by.
  float share = 0.5f;        // Of the frame in the middle of both.
};

inline constexpr int kHalo = 3;  // Pixels the rasters reach beyond the window that is fitted.

struct Visibility {
  Raster middle, weight;  // As TileInput asks.
  double inflation = 1;   // Factor on the variance that the best part of the region asks for.
  double residual = 0;    // RMS of what is visible, code values.
  double response = 1;    // Mean change of weight x residual with the residual, beside the mean weight.
  double seen = 0;        // Share of the mask that lies in the frame.
  double visible = 0;     // Share of its texture (squared gradient, capped) that is visible.
  Raster scratch;         // Of find_visible.
};

// Only the middle of both pictures, once the weights are to stay as they are.
void find_middle(const VisibilityInput& in, const std::vector<Rect>& tiles, const Light& light, const Runner& runner,
                 Raster& middle, Raster* residual);

void find_visible(const VisibilityInput& in, const std::vector<Rect>& tiles, const Light& light, const Runner& runner,
                  Visibility& out);

// How much the textures have in common, about 0 (nothing) to 1: the normalised cross-correlation of each tile (J. P.
// Lewis, "Fast normalized cross-correlation", Vision Interface 1995), noise taken off, weighted by the reference's
// variance in code values. Nothing is left out, whatever the weights say: among pixels picked because they agree, any
// two pictures agree.
double agreement(const VisibilityInput& in, const std::vector<Rect>& tiles, const Light& light, const Runner& runner);

}  // namespace pw
