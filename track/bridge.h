// Where a plane was while nothing of it was seen. Each corner is taken to keep its velocity but for a random step on
// every frame (white acceleration; Y. Bar-Shalom, X. R. Li, T. Kirubarajan, Estimation with Applications to Tracking
// and Navigation, 2001, chapter 6, from memory); what is most likely between the frames that are known is a smooth
// curve through them, less certain towards the middle. How large the steps are is read from the second differences of
// the corners on the frames around, what hangs together from one frame to the next included (W. K. Newey, K. D. West,
// "A simple, positive semi-definite, heteroskedasticity and autocorrelation consistent covariance matrix", Econometrica
// 55, 1987).
#pragma once
#include <vector>

#include "base/motion.h"

namespace pw {

inline constexpr double kSeenLimit = 0.12;  // Less of the region than this in the picture: outside.
inline constexpr int kLongestBridge = 48;   // Frames; over more of them steps seen on a few tell nothing.
inline constexpr double kBridgePx = 20;     // A corner with a larger standard deviation than this is not known.

// Calls frames beside lost ones lost where the plane is far from where the motion around has it: what is left of it
// there was mistaken. Only frames whose corners are several times less certain than most are put to this test.
void drop_strays(Motion& motion);

// Gives runs of lost frames that lie between known ones poses and covariances by what is known around, and calls them
// `hidden`, or `outside` where less than kSeenLimit of the region lies in the picture. Longer runs than kLongestBridge,
// frames that are known worse than to kBridgePx, those listed in `unread` and those with nothing known on one side stay
// lost.
void bridge(Motion& motion, const std::vector<int>& unread);

}  // namespace pw
