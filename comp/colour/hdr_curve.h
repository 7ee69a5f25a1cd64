// The two curves of ITU-R BT.2100 for pictures of high dynamic range, as encoded values against light.
#pragma once

namespace pw {

// Tone path: none. Light is laid so that 1 is the reference white of ITU-R BT.2408, and goes on above it; nothing is
// compressed, and no channel looks at another. All four: value >= 0.
//
// Hybrid log-gamma (BT.2100-2, table 5): light of the scene, so the curve alone is undone and no system gamma is
// applied. A signal of 0.75 is 1, one of 1 is 3.774; the logarithm goes on above, as far as a float holds it (a signal
// of 16).
double hlg_decode(double encoded);
double hlg_encode(double light);
// Perceptual quantisation (BT.2100-2, table 4; SMPTE ST 2084): light of the screen. 203 cd/m2 is 1, the 10 000 cd/m2 of
// a signal of 1 are 49.26; above that both are held, for there the curve ends.
double pq_decode(double encoded);
double pq_encode(double light);

}  // namespace pw
