// What was seen of the wheel's and the crank's patterns, and how well: as the fit takes it.
#pragma once

#include <algorithm>
#include <complex>

#include "kurbel/stage/crank_view.hpp"
#include "kurbel/stage/crank_wobble.hpp"
#include "kurbel/stage/half_orders.hpp"
#include "kurbel/stage/pitch_cells.hpp"
#include "kurbel/stage/pitch_fit.hpp"
#include "kurbel/stage/wheel_basis.hpp"

namespace kurbel {

/// Variance of a pattern's mean: edges jitter and burns scatter, by as much more or less than usual as the scatter within the cells
/// says.
class PitchNoise {
  public:
    PitchNoise(const WheelBasis& basis, const CrankView& view, const CrankWobble& wobble,
               const PitchCells& cells) noexcept
        : basis_(basis), view_(view), wobble_(wobble), cells_(cells) {}

    /// All of `seen` but the wheel's prior. `jitter_square`: of one edge, degrees squared.
    void fill(double jitter_square, PitchFit::Seen& seen) const noexcept {
        seen.runs = cells_.count();
        for (int c = 0; c < seen.runs; ++c) {
            seen.speed_rad_s[at(c)] = cells_[c].speed_rad_s;
            seen.load[at(c)] = cells_[c].load;
            seen.fires[at(c)] = cells_[c].fires;
        }
        for (int m = 0; m < view_.size(); ++m) {
            const double factor = excess(m, jitter_square);
            for (int c = 0; c < seen.runs; ++c) {
                const PitchCell& cell = cells_[c];
                seen.value[at(m)][at(c)] =
                    static_cast<double>(whole(m) ? cell.mean[at(m)] : cell.half[at(m - view_.wheel())]);
                seen.noise[at(m)][at(c)] = factor * usual(m, cell, jitter_square) / std::max(cycles(m, cell), kNone);
            }
        }
    }

  private:
    static constexpr double kNoiseCount = 4.0;  // observations that the expected scatter is worth
    static constexpr double kNone = 1e-6;       // cycles, where none was seen

    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }
    [[nodiscard]] bool whole(int m) const noexcept { return m < view_.wheel(); }
    [[nodiscard]] double cycles(int m, const PitchCell& cell) const noexcept {
        return whole(m) ? cell.weight : cell.half_weight;
    }

    /// Of one cycle: edges jitter, burns scatter, and the trend is known only as well as its ends.
    [[nodiscard]] double usual(int m, const PitchCell& cell, double jitter_square) const noexcept {
        const CrankWobble::Run run(cell.speed_rad_s, cell.load, cell.fires);
        const double burn = run.u() * run.load * (run.fires ? 1.2 : 0.2);
        double scatter = 0.0;
        for (int row = 0; row < CrankView::kOrders; ++row) {
            const double swing = wobble_.scatter(view_.twice_order(m, row));
            scatter += 0.5 * std::norm(view_.weight(m, row)) * swing * swing;
        }
        const double order = whole(m) ? basis_.order(m) : 0.5 * HalfOrders::twice_order(m - view_.wheel());
        const double drift = 0.1 * run.u() / order;
        return 0.5 * jitter_square * (1.0 + drift * drift) + scatter * burn * burn;
    }

    /// Scatter within the cells over the usual one.
    [[nodiscard]] double excess(int m, double jitter_square) const noexcept {
        double expected = 0.0;
        double weight = 0.0;
        for (int i = 0; i < cells_.count(); ++i) {
            const double own = cycles(m, cells_[i]);
            expected += own * usual(m, cells_[i], jitter_square);
            weight += own;
        }
        if (!(weight > 0.0)) return 1.0;
        const double within = whole(m) ? cells_.within(m) : cells_.half_within(m - view_.wheel());
        const int count = whole(m) ? cells_.within_count() : cells_.half_within_count();
        return (within / (expected / weight) + kNoiseCount) / (count + kNoiseCount);
    }

    const WheelBasis& basis_;
    const CrankView& view_;
    const CrankWobble& wobble_;
    const PitchCells& cells_;
};

}  // namespace kurbel
