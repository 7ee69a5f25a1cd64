// What is known of raindrops: how many there are of which size, and how fast they fall.
#pragma once

namespace pw {

// Smaller drops are drizzle, which is seen as mist and not as streaks (American Meteorological Society, Glossary of
// Meteorology, "Rain"); larger ones break up. Diameters, mm.
inline constexpr double kSmallestDrop = 0.5, kLargestDrop = 6;
// The heaviest rain that is drawn, mm/h.
inline constexpr double kHeaviestRain = 100;

// Drops per m^3 and mm of diameter are kDropsAtZero exp(-drop_slope D) (J. S. Marshall, W. McK. Palmer, "The
// Distribution of Raindrops with Size", J. Meteorology 5, 165-166, 1948).
inline constexpr double kDropsAtZero = 8000;
double drop_slope(double rain_mm_h);  // Per mm; rain above 0.
// Drops per m^3 of kSmallestDrop to kLargestDrop; 0 without rain.
double drops_per_m3(double rain_mm_h);

// Terminal velocity at sea level, m/s, of a drop of `mm`: 9.65 - 10.3 exp(-0.6 mm) (D. Atlas, R. C. Srivastava, R. S.
// Sekhon, "Doppler Radar Characteristics of Precipitation at Vertical Incidence", Rev. Geophys. Space Phys. 11, 1973);
// within 2.1 % of the measurements of Gunn and Kinzer (1949) from 0.5 to 5.8 mm.
float fall_speed(float mm);

}  // namespace pw
