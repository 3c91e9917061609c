// Which spacing of firings the strength of the crank's waves speaks for.
#pragma once

#include <vector>

#include "discover/cycle_spectrum.hpp"
#include "discover/cylinder_spectra.hpp"
#include "discover/layouts.hpp"

namespace kurbel::discover {

struct LayoutScore {
    const Layout* layout = nullptr;
    double cost = 0.0;    ///< -log posterior, up to a constant
    double rarity = 0.0;  ///< what of it is prior: how seldom such engines are met
};

/// Whether the wheel shows the wave of its firings and one beside it.
[[nodiscard]] bool shows(const Layout& layout, const CycleSpectrum& spectrum);

/// All layouts that the wheel can tell, the likeliest first.
///
/// Cylinders that work alike cancel each other at most waves of the cycle; which ones stay is written in the firing angles. Phases
/// and sizes are what gas, torsion and driveline make of them, so that only this is used: a wave of torque is taken as a random phasor
/// whose expected square is (size of one cylinder's wave)^2 x (coherence^2 + spread^2 / cylinders), heavy-tailed, plus noise;
/// the size that fits best is free.
[[nodiscard]] std::vector<LayoutScore> score_layouts(const CycleSpectrum& spectrum, const CylinderSpectra& spectra);

}  // namespace kurbel::discover
