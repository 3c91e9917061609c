// Each cylinder's way through its cycle: traps a charge at the bottom, passes firing TDC, closes its row of truth.
#pragma once

#include <array>
#include <vector>

#include "kurbel/read/recording.hpp"
#include "kurbel/simulate/deep_truth.hpp"
#include "kurbel/simulate/engine_model.hpp"
#include "simulate/firing.hpp"

namespace kurbel::simulate {

class CylinderRuns {
  public:
    CylinderRuns(const Scenario& scenario, EngineModel& model)
        : scenario_(scenario), model_(model), firing_(scenario, model) {}

    /// Places every cylinder where the crank stands at `time_s`, the beginning of the run.
    void start(double time_s, const Surroundings& around);

    /// Call around each step of the model: notes where the cylinders stand, and sees what they passed. The step began at
    /// `time_s`.
    void before_step() noexcept;
    void after_step(double time_s, double step_s, const Surroundings& around);

    /// In a start: what a standing engine's rings let through in `step_s`, so that its closed cylinders lose their pressure.
    void leak_at_rest(double step_s) noexcept;

    /// Whether a firing that passed TDC before `end_s` is still at work.
    [[nodiscard]] bool at_work(double end_s) const noexcept;

    [[nodiscard]] const FiringMaker& firing() const noexcept { return firing_; }

    /// Rows of the firings whose TDC lies within the recording, in order of their ends.
    std::vector<read::TruthRow> truth;
    std::vector<FiringTruth> detail;  ///< of the same firings

  private:
    /// Which of its dead centres comes next.
    enum class Next : std::uint8_t { trap, firing_tdc, bottom, gas_exchange_tdc };
    struct Place {
        Next next = Next::trap;
        double angle_rad = 0.0;  ///< before the step
        double speed_rad_s = 0.0;
        read::TruthRow row{};
        Firing firing{};
        double trapped_pa = 0.0;
    };

    void watch(std::size_t c, double time_s, double step_s, const Surroundings& around);
    void close_row(std::size_t c);
    void turn_back(std::size_t c, double x) noexcept;
    void trap(std::size_t c, double time_s, double closing_s, const Surroundings& around);
    void pass_firing_tdc(std::size_t c, double time_s, double step_s, const Surroundings& around);
    [[nodiscard]] double throw_rad_s(std::size_t c) const noexcept {
        return model_.speed_rad_s[static_cast<std::size_t>(model_.layout().mass_of_cylinder[c])];
    }

    const Scenario& scenario_;
    EngineModel& model_;
    FiringMaker firing_;
    std::array<Place, kMaxCylinders> place_{};
};

}  // namespace kurbel::simulate
