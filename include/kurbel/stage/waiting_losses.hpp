// The losses that the firings show together which wait for the engine to be known.
#pragma once

#include <cmath>
#include <cstdint>

#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/firing_windows.hpp"
#include "kurbel/stage/first_losses.hpp"
#include "kurbel/stage/misfire_response.hpp"

namespace kurbel {

/// Finds them by the response in use, takes them out of the bins, and tells how odd the windows are that are left. Lives for one first look.
template <class Real>
struct WaitingLosses {
    using Places = typename CylinderLevels<Real>::Places;
    /// Healthy deviations beyond which a loss is one: what is taken for lost too often costs little.
    static constexpr Real kLimit = Real(3);

    FiringWindows<Real>& windows;
    int bins;              ///< of a cycle
    std::int64_t end;      ///< the bin behind the last cycle that was learned
    Real whole = Real(1);  ///< what a lost combustion reads as
    Real limit = kLimit;   ///< see FirstLosses::find()
    Places suspects{};     ///< places whose pattern misses work
    FirstLosses<Real> found{};

    void find() noexcept {
        auto& [engine, pending, rehearsal, before, size] = windows;
        for (int i = 0; i < pending.count(); ++i) {
            Window x{};
            if (pending[i].usable()) windows.find_amplitude(pending[i], x);
        }
        found.find(pending, engine.bank, rehearsal.leverage(engine.cycles()), suspects, bins,
                   engine.residuals.bins().oldest_connected() + before, end - engine.cycles() * bins, whole, limit);
    }

    /// Takes what was found out of the bins.
    void take_out() noexcept {
        for (int n = 0; n < found.losses(); ++n) {
            const PendingFiring<Real>& entry = windows.pending[found.firing(n)];
            take_out_loss(windows.engine.residuals, windows.engine.bank, entry, entry.bin - windows.before,
                          found.lost(n));
        }
    }
    void find_and_take_out() noexcept {
        find();
        take_out();
    }

    /// Learns the waiting cycles once more, as they are left; `examine`: and looks for cylinders that are dead in them.
    void learn_again(bool examine) noexcept { windows.learn_again(end, bins, examine); }
    /// As if nothing had been taken out.
    void put_back() noexcept { windows.engine.residuals.put_back(windows.first_waiting()); }

    /// How unlikely the windows are that wait, as they are left: logarithm, where by how much windows scatter is not known (Student's t). A bin
    /// that several windows hold tells once.
    [[nodiscard]] Real strangeness() const noexcept {
        const auto& engine = windows.engine;
        Real sum = 0;
        for (int i = 0; i < windows.pending.count(); ++i) {
            const PendingFiring<Real>& entry = windows.pending[i];
            if (!windows.is_whole(entry)) continue;
            Window x{};
            windows.fill(entry, x);
            sum += std::log1p(static_cast<Real>(engine.covariance.square(x)) / static_cast<Real>(windows.size));
        }
        return Real(0.5) * sum * static_cast<Real>(bins) / static_cast<Real>(engine.grid().firings);
    }
};

}  // namespace kurbel
