// The firing frequency and its multiples in the crank's energy, averaged over cycles, by operating point.
#pragma once

#include <array>
#include <complex>
#include <cstdint>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"

namespace kurbel {

/// Averages, over engine cycles, of the energy's phasors at the orders in which all cylinders act together.
///
/// The energy over inertia is y = (speed^2)/2, its mean over each tooth interval. At order n (n waves a revolution) a
/// cycle's phasor Y fits y = Re(Y exp(j n angle)), angle from the declared firing TDC of cylinder 1; constant and all other
/// orders that the wheel can tell are fitted beside it by least squares, so that neither the gap nor a weak cylinder leaks
/// in; the slope from the cycle before to the one after is taken out. Orders are those where the cylinders' torques add
/// up: |sum exp(-j n TDC)| at least kCoherence of the number of cylinders (even firing: multiples of half that number).
/// Quiet orders, whole ones from 3 on where they cancel, are averaged beside them: what stands there is mostly the wheel's
/// own error.
///
/// Cycles are sorted by speed (steps of 22 %) and by what burns: fuel cut, or load low, middle (or unknown), high. Left
/// out are cycles with a missing tooth or beside one, with some cylinders cut and others not, or within kSettle cycles of a
/// change. Where the phase matters and becomes known, what came before is forgotten; until then each loss of the wheel
/// begins anew. Allocates when it is made, not after; a copy is a snapshot.
class FiringOrders {
  public:
    static constexpr int kMostOrders = 4;
    static constexpr int kMostQuiet = 4;
    static constexpr int kMostFits = kMostOrders + kMostQuiet;
    static constexpr double kCoherence = 0.35;
    static constexpr double kSlowest_rpm = 60.0;
    static constexpr double kSpeedStep = 1.22;
    static constexpr int kSpeeds = 25;

    /// What burns in a cycle.
    enum class Burn : std::uint8_t { none = 0, low = 1, middle = 2, high = 3 };
    static constexpr int kBurns = 4;

    /// Sums over the cycles of one operating point.
    struct Point {
        std::int64_t cycles = 0;
        double energy = 0.0;                                     ///< sum of mean y, rad^2/s^2
        std::array<std::complex<double>, kMostOrders> phasor{};  ///< sum
        std::array<double, kMostOrders> square{};                ///< sum of squared magnitudes
        std::array<std::complex<double>, kMostQuiet> quiet{};    ///< sum, of the quiet orders
    };

    /// `config` was validated. Without an order that the wheel can tell, all stays empty.
    explicit FiringOrders(const Config& config);

    /// Teeth in order, as the Decoder gives them.
    void push(const Tooth& tooth) noexcept;
    /// Channel values in order of time with the teeth; others than load and fuel cut are ignored.
    void push_channel(Channel channel, double value) noexcept;

    [[nodiscard]] int orders() const noexcept { return orders_; }
    /// Waves a revolution, rising.
    [[nodiscard]] double order(int i) const noexcept { return order_[static_cast<std::size_t>(i)]; }
    [[nodiscard]] int quiet_orders() const noexcept { return quiet_; }
    [[nodiscard]] double quiet_order(int i) const noexcept { return quiet_order_[static_cast<std::size_t>(i)]; }
    /// The phase of the cycle matters here and was not told: half orders may have either sign.
    [[nodiscard]] bool sign_unknown() const noexcept { return phase_matters_ && !phase_told_; }
    [[nodiscard]] const Point& point(Burn burn, int speed) const noexcept {
        return points_[static_cast<std::size_t>(static_cast<int>(burn) * kSpeeds + speed)];
    }

  private:
    using Row = std::array<double, 2 * kMostFits>;  ///< share of an interval's energy in the real and imaginary parts
    static constexpr int kSettle = 2;

    void choose_orders(const EngineConfig& engine, double highest);
    void make_rows(const Config& config, double highest);
    [[nodiscard]] int interval_of(const Tooth& tooth) const noexcept { return tooth.half * teeth_ + tooth.index; }
    /// One cycle's fit, waiting for its neighbours.
    struct Cycle {
        bool whole = false;
        double energy = 0.0;  ///< mean over intervals
        double rpm = 0.0;
        Burn burn = Burn::middle;
        bool usable = false;  ///< what burns is one thing, and has been for kSettle cycles
        Row fit{};
    };

    void forget_points() noexcept;
    void begin_cycle() noexcept;
    void finish_cycle() noexcept;
    void count(const Cycle& cycle, double slope) noexcept;
    /// 0 nothing cut, 1 all, 2 some.
    [[nodiscard]] int cut_state() const noexcept;

    int teeth_ = 0;      // of the wheel
    int intervals_ = 0;  // of the cycle
    int cylinders_ = 0;
    int orders_ = 0;
    int quiet_ = 0;
    bool phase_told_ = false;
    bool phase_matters_ = false;
    double hz_ = 1.0;
    double cycle_rad_ = 0.0;
    std::array<double, kMostOrders> order_{};
    std::array<double, kMostQuiet> quiet_order_{};
    Row slope_row_{};             // the fit of energy that rises by 1 a cycle
    std::vector<Row> row_;        // by interval
    std::vector<double> factor_;  // squared angle of the interval over 2, rad^2 hz^2
    std::vector<Point> points_;

    bool has_last_ = false;
    bool whole_ = false;  // all teeth of this cycle so far have been seen
    int next_ = 0;        // interval that the next tooth begins
    std::int64_t last_tick_ = 0;
    std::int64_t cycle_tick_ = 0;
    Row sum_{};
    double energy_ = 0.0;
    Cycle before_{};
    Cycle waiting_{};
    double load_ = kUnknown;
    bool cut_ = false;
    std::array<bool, kMaxCylinders> cut_one_{};
    int last_cut_state_ = 0;
    int steady_cycles_ = 0;  // since what burns changed
};

}  // namespace kurbel
