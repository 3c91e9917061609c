// Whole engine cycles among the teeth.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "discover/cycle_fit.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/stage/decoder.hpp"

namespace kurbel::discover {

/// One engine cycle that was whole.
struct Cycle {
    double begin_s = 0.0;
    double end_s = 0.0;
    double energy = 0.0;   ///< mean over the cycle, rad^2/s^2
    int section = 0;       ///< cycles of different sections may be half a cycle apart
    bool follows = false;  ///< the cycle before is whole, too
    Eigen::VectorXd fit;   ///< CycleFit::rows times the energies
};

/// Collects the whole cycles among the teeth. `fit` must outlive it; `hz` is the clock of the ticks.
class CycleCollector {
  public:
    CycleCollector(const CycleFit& fit, int teeth, double hz)
        : fit_(&fit), teeth_(teeth), hz_(hz), energy_(fit.intervals) {}

    void push(const Tooth& tooth);
    /// What comes is not connected to what was pushed.
    void interrupt() { has_last_ = false; }

    [[nodiscard]] bool phase_known() const { return phase_known_; }
    std::vector<Cycle> cycles;

  private:
    const CycleFit* fit_;
    int teeth_;
    double hz_;
    Eigen::VectorXd energy_;
    bool phase_known_ = false;
    bool has_last_ = false;
    bool connected_ = false;
    int last_ = 0;
    int run_ = 0;
    int section_ = 0;
    std::int64_t last_tick_ = 0;
    double begin_s_ = 0.0;
};

/// Cycles of unknown phase hang together only without a loss of the wheel between them.
void keep_longest_section(std::vector<Cycle>& cycles);

}  // namespace kurbel::discover
