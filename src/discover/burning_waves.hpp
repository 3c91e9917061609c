// What fuel adds to the crank's energy, beside the same engine without fuel.
#pragma once

#include <complex>
#include <vector>

#include "discover/cycle_spectrum.hpp"
#include "discover/cylinder_spectra.hpp"
#include "discover/layouts.hpp"

namespace kurbel::discover {

/// A point with fuel less what the motored cycles show at the same speed: wheel errors, masses and what crank and driveline make of them
/// cancel. It tells places apart where gas and masses are alike, since burning drives the crank behind TDC and never before.
class BurningWaves {
  public:
    BurningWaves(const MotoredLine& line, const SpectrumPoint& point, const std::vector<std::size_t>& used);

    /// log of the chance of these waves, up to a constant, with the first firing TDC at `deg`. `together` is what the cylinders of a layout add up to,
    /// wave by wave of those used; zeros: no layout shows.
    [[nodiscard]] double log_chance(const std::vector<GasShape>& shapes,
                                    const std::vector<std::complex<double>>& together, const Layout& layout,
                                    double deg) const;

  private:
    struct Wave {
        std::size_t h;
        std::complex<double> value;
        double variance;  ///< on either axis
        double along;     ///< more, along the wave
        double across;
    };
    std::vector<Wave> waves_;
    double largest_ = 0.0;
};

}  // namespace kurbel::discover
