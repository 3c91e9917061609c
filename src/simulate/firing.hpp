// What a cylinder traps and how it burns: drawn once a cycle, at the bottom before compression.
#pragma once

#include <array>

#include "kurbel/simulate/engine_model.hpp"
#include "kurbel/simulate/misfire.hpp"
#include "kurbel/simulate/random.hpp"

namespace kurbel::simulate {

/// What the cylinders find around them.
struct Surroundings {
    double load = 0.0;         ///< relative charge
    double manifold_pa = 0.0;  ///< absolute
};

/// What truth says of one firing.
struct Firing {
    double severity = 0.0;  ///< share of the heat removed on purpose
    bool fuel_cut = false;
};

class FiringMaker {
  public:
    FiringMaker(const Scenario& scenario, const EngineModel& model);

    /// Fills the charge of cylinder `c` (0-based), which closes at `time_s` and crank speed `speed_rad_s`.
    Firing trap(std::size_t c, double time_s, double speed_rad_s, const Surroundings& around, Charge& charge);

    /// Whether no fuel is meant for `cylinder` (1-based; 0: for the whole engine).
    [[nodiscard]] bool fuel_is_cut(int cylinder, double time_s) const noexcept;

  private:
    struct Cylinder {
        Random random;
        double factor = 1.0;
        double leak_rad_s = 0.0;
    };

    const Scenario& scenario_;
    const CylinderModel& model_;
    MisfirePlan misfires_;
    LowSideScatter scatter_;
    std::array<Cylinder, kMaxCylinders> cylinder_{};
};

}  // namespace kurbel::simulate
