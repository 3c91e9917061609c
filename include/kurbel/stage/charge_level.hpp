// The charge that the crank tells, as a level that holds still until it moves.
#pragma once

#include <algorithm>

#include "kurbel/stage/expected_work.hpp"

namespace kurbel {

/// A pattern over load must not follow what single readings of the charge are off by, nor misfires that many cylinders have in turn, which
/// take from the charge as it is read. So the level stays, and creeps, while readings scatter around it as they do; where one lies clearly
/// beyond that, the foot has moved, and for two cycles it follows each of them.
///
/// How large the charge is, wheel and inertia leave open. Work is expected by it in proportion to its own long mean, as if that were the usual
/// load.
template <class Real>
class ChargeLevel {
  public:
    void begin() noexcept { *this = ChargeLevel{}; }

    [[nodiscard]] bool any() const noexcept { return count_ > 0; }
    [[nodiscard]] Real level() const noexcept { return level_; }

    /// Takes the next reading, one a firing of so many in a cycle.
    void take(Real charge, int firings) noexcept {
        constexpr int kCreeping = 64;
        constexpr int kMemory = 1000;
        constexpr Real kNoiseMemory = Real(50);
        constexpr Real kClearly = Real(9);  // square of three deviations
        count_ = std::min(count_ + 1, kMemory);
        mean_ += (charge - mean_) / Real(count_);
        const Real off = count_ > 1 ? charge - level_ : Real(0);
        if (off * off > kClearly * noise_) follows_ = 2 * firings;
        noise_ += (std::min(off * off, kClearly * noise_) - noise_) / kNoiseMemory;
        noise_ = std::max(noise_, kLeastNoise);
        const bool moves = count_ == 1 || follows_ > 0;
        level_ = moves ? charge : level_ + off / Real(std::min(count_, kCreeping));
        follows_ = std::max(follows_ - 1, 0);
    }

    /// The load by which work is to be expected where the level was `charge`: a line, at_rest() and by_level(). A mean of nearly nothing says that
    /// something else than gas makes the wave: the usual load, then.
    [[nodiscard]] Real as_load(Real charge) const noexcept {
        constexpr Real kLeast = Real(0.02);
        return at_rest() + by_level() * std::max(charge, kLeast);
    }
    [[nodiscard]] Real at_rest() const noexcept { return of_gas() ? Real(0) : kUsual; }
    [[nodiscard]] Real by_level() const noexcept { return of_gas() ? kUsual / mean_ : Real(0); }

  private:
    static constexpr Real kUsual = ExpectedWork<Real>::kUnknownLoad;
    static constexpr Real kLeastMean = Real(0.1);
    static constexpr Real kFirstNoise = Real(0.01);  // variance: a tenth of full charge
    static constexpr Real kLeastNoise = Real(2.5e-5);

    [[nodiscard]] bool of_gas() const noexcept { return mean_ > kLeastMean; }

    int count_ = 0;
    int follows_ = 0;  // readings that are followed still
    Real level_ = 0;
    Real mean_ = 0;
    Real noise_ = kFirstNoise;
};

}  // namespace kurbel
