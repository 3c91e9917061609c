// What a cylinder traps and how it burns: drawn once a cycle, at the bottom before compression.
#pragma once

#include <array>

#include "kurbel/simulate/engine_model.hpp"
#include "kurbel/simulate/misfire.hpp"
#include "kurbel/simulate/random.hpp"
#include "simulate/wall_film.hpp"

namespace kurbel::simulate {

/// What the cylinders find around them.
struct Surroundings {
    double load = 0.0;           ///< relative charge
    double manifold_pa = 0.0;    ///< absolute, at `since_s`
    double manifold_pa_s = 0.0;  ///< its rate of change
    double since_s = 0.0;
    double exhaust_rise_pa = 0.0;  ///< back pressure beyond that at rest
    double retard_deg = 0.0;       ///< combustion later than combustion.ca50_deg by this
    bool no_fuel = false;          ///< the engine gets none yet, or no more

    [[nodiscard]] double manifold_pa_at(double time_s) const noexcept {
        return manifold_pa_s == 0.0 ? manifold_pa : manifold_pa + manifold_pa_s * (time_s - since_s);
    }
};

/// What truth says of one firing.
struct Firing {
    double severity = 0.0;  ///< share of the heat removed on purpose
    bool fuel_cut = false;
    double heat_j = 0.0;     ///< released while the exhaust is shut
    double burnt = 0.0;      ///< share of the fuel that burnt by then
    double burnt_gas = 0.0;  ///< share of the charge that had burnt before
    double ca50_deg = 0.0;   ///< of the whole burn, were it not cut short
};

class FiringMaker {
  public:
    FiringMaker(const Scenario& scenario, const EngineModel& model);

    /// Fills the charge of cylinder `c` (0-based), which closes at `closing_s` and crank speed `speed_rad_s`; `time_s` is the
    /// end of the time step in which it does.
    Firing trap(std::size_t c, double time_s, double closing_s, double speed_rad_s, const Surroundings& around,
                Charge& charge);

    /// Whether no fuel is meant for `cylinder` (1-based; 0: for the whole engine) by the scenario's fuel cuts.
    [[nodiscard]] bool fuel_is_cut(int cylinder, double time_s) const noexcept;

    /// The deactivation that keeps `cylinder` shut, or null.
    [[nodiscard]] const Deactivation* deactivation(int cylinder, double time_s) const noexcept;

  private:
    struct Cylinder {
        Random random;
        Random slow;
        double factor = 1.0;
        double charge_factor = 1.0;
        double leak_rad_s = 0.0;
        double mixture = 0.0;    ///< share of the last cycle's end gas that could still burn
        double burnt_gas = 1.0;  ///< share of it that has burnt
        WallFilm film;
    };

    /// Trapped gas and the heat that it holds, scatter aside.
    struct Trapped {
        double pa = 0.0;
        double mixture = 0.0;  ///< share that can burn
        double burnt_gas = 0.0;
        double excess = 0.0;  ///< burnt gas beyond what is usual at this manifold pressure
    };
    [[nodiscard]] Trapped gas(const Cylinder& cylinder, double manifold_pa, double speed_rad_s,
                              const Surroundings& around) const noexcept;
    [[nodiscard]] BurnShape shape(Cylinder& cylinder, double deviation, double phase_deg, double growth,
                                  const Surroundings& around, double& ca50_deg) const noexcept;

    const Scenario& scenario_;
    const CylinderModel& model_;
    MisfirePlan misfires_;
    LowSideScatter scatter_;
    std::array<Cylinder, kMaxCylinders> cylinder_{};
};

}  // namespace kurbel::simulate
