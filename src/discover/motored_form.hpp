// Squared standard errors of motored waves as a quadratic form in what gas and masses do.
#pragma once

#include <cmath>

namespace kurbel::discover {

/// What one axis of a wave gives to the form, see SeenForm::add.
struct WaveSums {
    double one_one = 0.0;  ///< weights between ones (gas, the same at every speed) and energies (masses)
    double one_energy = 0.0;
    double energy_energy = 0.0;
    double one_seen = 0.0;
    double energy_seen = 0.0;
    double seen_seen = 0.0;
};

/// rest - 2 (k a + mu b) + k^2 aa + 2 k mu ab + mu^2 bb in gas k and masses mu. Both are positive and known by their order of size:
/// u = log mu, v = log(k / mu).
class SeenForm {
  public:
    /// `usual_mass` is what engines' mu is like.
    explicit SeenForm(double usual_mass) : usual_u_(std::log(usual_mass)) {}

    /// One axis of a wave: what was seen, and what unit gas and unit masses would make of it.
    void add(const WaveSums& sums, double gas, double masses) {
        rest_ += sums.seen_seen;
        a_ += gas * sums.one_seen;
        b_ += masses * sums.energy_seen;
        aa_ += gas * gas * sums.one_one;
        ab_ += gas * masses * sums.one_energy;
        bb_ += masses * masses * sums.energy_energy;
    }

    /// -log of the integral over k and mu (Laplace's approximation), up to a constant.
    [[nodiscard]] double marginal() const;

  private:
    /// Half the squared standard errors, those of what engines are built like included.
    [[nodiscard]] double value(double u, double v) const;
    /// The same with mu and k at hand.
    [[nodiscard]] double value(double u, double v, double mu, double k) const;

    double rest_ = 0.0;
    double a_ = 0.0;
    double b_ = 0.0;
    double aa_ = 0.0;
    double ab_ = 0.0;
    double bb_ = 0.0;
    double usual_u_;
};

}  // namespace kurbel::discover
