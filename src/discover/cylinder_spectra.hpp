// What one cylinder does to the crank's energy, wave by wave of the cycle, over all plausible charges and burns.
#pragma once

#include <complex>
#include <vector>

namespace kurbel::discover {

/// Phasors of waves 1, 2, ... of a cycle of two revolutions, angle from this cylinder's firing TDC; energies in units of 1 bar x
/// piston area x crank radius / inertia.
using Waves = std::vector<std::complex<double>>;

/// A shape and how far-fetched it is, in squared standard errors.
struct GasShape {
    Waves wave;
    double far_fetched = 0.0;
    double scale = 1.0;  ///< by which the waves were divided
};

/// One cylinder of a typical four-stroke (rod 3.4 crank radii, compression 10: common practice, no source): polytropic compression
/// and expansion, Wiebe heat release, gas exchange at intake and ambient pressure (Heywood 1988, ch. 2 and 9, from memory).
class CylinderSpectra {
  public:
    explicit CylinderSpectra(int waves);

    /// Shapes that differ noticeably: without fuel at any charge; with fuel from no burn to a full one, early to very late.
    [[nodiscard]] const std::vector<GasShape>& shapes(bool motored) const { return motored ? motored_ : fired_; }
    /// What burning adds, with what more air does: a throttle that opens lets it in.
    [[nodiscard]] const std::vector<GasShape>& burns() const { return burns_; }
    /// Reciprocating mass, where piston mass x squared crank radius is the whole inertia, at unit mean energy.
    [[nodiscard]] const Waves& inertia() const { return inertia_; }

  private:
    std::vector<GasShape> motored_;
    std::vector<GasShape> fired_;
    std::vector<GasShape> burns_;
    Waves inertia_;
};

}  // namespace kurbel::discover
