// Where TDCs lie by what single speeds show: with fuel, or at two speeds without it.
#pragma once

#include "discover/cycle_spectrum.hpp"
#include "discover/cylinder_spectra.hpp"
#include "discover/layouts.hpp"
#include "kurbel/discover/discovery.hpp"

namespace kurbel::discover {

/// Waves above these frequencies meet the crank's torsion and are left out (common practice, no source).
inline constexpr double kTorsion_hz = 150.0;

/// For one layout, without a coast to go by. A difference of two speeds without fuel, in which masses and wheel cancel, tells it best; else all
/// points that there are, and then it is a guess: nobody knows where in the cycle fuel burns.
[[nodiscard]] TdcFinding tdc_by_points(const Layout& layout, const CycleSpectrum& spectrum,
                                       const CylinderSpectra& spectra, double engine_confidence);

}  // namespace kurbel::discover
