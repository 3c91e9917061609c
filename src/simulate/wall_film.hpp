// Fuel on the intake's wall (Aquino, SAE 810494, 1981; equations from memory): a share of what is injected joins the film, the
// film evaporates with a time constant. After a cut the film is gone, and the first firings are weak until it is back.
#pragma once

#include "kurbel/simulate/combustion_settings.hpp"
#include "kurbel/simulate/portable_math.hpp"

namespace kurbel::simulate {

class WallFilm {
  public:
    /// Fuel that reaches the cylinder in a cycle that ends at `time_s`, where `injected` is sprayed; any unit. The first call
    /// finds the film as if it had been so for long, or, `dry`, none.
    [[nodiscard]] double reaches(const CombustionSettings& settings, double injected, double time_s, double cycle_s,
                                 bool dry) noexcept {
        const double since = last_s_ < kNever ? time_s - last_s_ : cycle_s;
        const double gone = 1.0 - portable::exp(-since / settings.film_s);
        if (last_s_ >= kNever) mass_ = dry ? 0.0 : settings.film_share * injected / gone;
        last_s_ = time_s;
        const double evaporated = mass_ * gone;
        mass_ += settings.film_share * injected - evaporated;
        return (1.0 - settings.film_share) * injected + evaporated;
    }

  private:
    static constexpr double kNever = 1e18;
    double mass_ = 0.0;
    double last_s_ = kNever;
};

}  // namespace kurbel::simulate
