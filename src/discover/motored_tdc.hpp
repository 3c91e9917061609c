// Where TDCs lie and how firings are spaced, from cycles without fuel.
#pragma once

#include <vector>

#include "discover/cycle_spectrum.hpp"
#include "discover/cylinder_spectra.hpp"
#include "discover/layouts.hpp"

namespace kurbel::discover {

/// How well one layout explains the motored cycles, and where its first firing TDC lies then.
struct MotoredFit {
    const Layout* layout = nullptr;  ///< null: firings that the wheel, or the crank's torsion, hides
    double log_evidence = 0.0;       ///< up to a constant
    double misfit = 0.0;             ///< of the best place, squared standard errors a figure: 1 where the model holds
    std::vector<double> chance;      ///< of a TDC at 0, 1, ... degrees within the layout's period; sums to 1
};

/// All layouts that the wheel shows, the likeliest first, and at the end the null one. Empty without motored cycles.
///
/// Model: wave h of the energy is S_h exp(-j h/2 tdc) (k G_h + y mu I_h) + y w_h in each of MotoredLine's bins, where S_h adds up the
/// cylinders, G_h is compression and expansion of air at an unknown intake pressure, I_h the reciprocating masses, y the mean energy and w_h
/// the wheel's own errors (at whole orders alone). k and mu are positive and known to within what engines are built like. Torsion,
/// driveline and cylinders that differ are errors whose covariance over the bins says how they change with speed: what they add falls
/// away towards standstill, or bends the line, and so a coast down parts them from gas. All that is not asked for is summed over.
[[nodiscard]] std::vector<MotoredFit> fit_motored(const CycleSpectrum& spectrum, const CylinderSpectra& spectra);

}  // namespace kurbel::discover
