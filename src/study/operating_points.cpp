#include "study/operating_points.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "kurbel/core/crank_pins.hpp"
#include "kurbel/core/slider_crank.hpp"

namespace kurbel {

namespace {

constexpr std::int64_t kFewestCycles = 6;
constexpr std::size_t kMostPoints = 6;
constexpr double kLeastStrength = 9.0;  // three standard errors
/// Error of the model's phasors, standard deviation over their own size, and over the largest one's: what heat losses,
/// leaks, valves and pressure waves do beside the model (judged from their usual size; no source).
constexpr double kOwnError = 0.06;
constexpr double kShapeError = 0.03;
/// The same for what hangs on the crank in gear, above a speed where a gear is rarely driven: gearbox and clutch springs
/// take energy and turn phases most near their own frequency (common practice, no source).
constexpr double kInGear_rpm = 1000.0;
constexpr double kDrivelineError = 0.12;
constexpr double kClutchError = 0.3;
constexpr double kClutchLow_hz = 40.0;
constexpr double kClutchHigh_hz = 90.0;
/// Pitch error of a tooth, degrees, standard deviation: the most that is reckoned with, also where it cannot be seen, and the
/// least that is believed (wheels are made to 0.05 to 0.2: common practice, no source).
constexpr double kMostPitch_deg = 0.15;
constexpr double kLeastPitch_deg = 0.03;
/// First torsion mode at its lowest, Hz, times throws: a long six's 160, a four's 250 (engineering range from memory).
constexpr double kTorsionThrows_hz = 1000.0;
/// Below this speed a starter turns the engine.
constexpr double kStarter_rpm = 400.0;

double lowest_mode_hz(const EngineConfig& engine) { return kTorsionThrows_hz / CrankPins(engine).count(); }

double turns_hz(double energy) { return std::sqrt(2.0 * energy) / (2.0 * std::numbers::pi); }

template <class Take>
void for_each_point(const FiringOrders& orders, Take&& take) {
    for (int burn = 0; burn < FiringOrders::kBurns; ++burn)
        for (int speed = 0; speed < FiringOrders::kSpeeds; ++speed) {
            const auto which = static_cast<FiringOrders::Burn>(burn);
            const FiringOrders::Point& point = orders.point(which, speed);
            if (point.cycles >= kFewestCycles) take(point, which);
        }
}

/// The wheel's error at one order, rad: real or imaginary part, standard deviation. What stands at the quiet orders holds
/// the crank's own motion too, the more the nearer to a mode: so it is an upper bound.
double wheel_error_rad(const Config& config, const FiringOrders& orders) {
    std::vector<double> seen;
    for_each_point(orders, [&](const FiringOrders::Point& point, FiringOrders::Burn) {
        for (int k = 0; k < orders.quiet_orders(); ++k)
            seen.push_back(std::abs(point.quiet[static_cast<std::size_t>(k)]) /
                           (2.0 * point.energy * orders.quiet_order(k)));
    });
    const double part = std::sqrt(2.0 / config.crank_wheel.teeth);
    if (orders.quiet_orders() < 3 || seen.empty()) return to_rad(kMostPitch_deg) * part;
    const auto middle = seen.begin() + static_cast<std::ptrdiff_t>(seen.size() / 2);
    std::nth_element(seen.begin(), middle, seen.end());
    constexpr double kMedian = 1.177;   // of a magnitude whose parts are normal with unit deviation
    constexpr double kFewOrders = 1.5;  // a handful of orders tells the deviation no better
    return std::clamp(*middle * kFewOrders / kMedian, to_rad(kLeastPitch_deg) * part, to_rad(kMostPitch_deg) * part);
}

double square(double value) { return value * value; }

/// What the crank's first torsion mode does to an order far below it. Rigid motion is against torque, the mode's own is with
/// it: a sensor on the same side of the node as the throws sees 1 - g r^2/(1 - r^2) of the rigid motion, r the frequency over
/// the mode's and g up to inertia of the flywheel over that of the throws; one at the flywheel, beyond the node, sees more
/// than the rigid motion instead.
struct Torsion {
    static constexpr double kGain = 2.3;          // flywheel with 70 % of the inertia (common practice, no source)
    static constexpr double kTwiceDamping = 0.1;  // of the mode (common practice, no source)
    bool beyond_node = false;

    /// Up to here the factor is positive, so that no order changes its sign.
    [[nodiscard]] double highest_ratio() const { return beyond_node ? 0.8 : 0.45; }

    /// Error over size. Sizes are compared with nothing but each other: so the lowest order suffers from the mode's damping
    /// alone, which turns it.
    [[nodiscard]] double error(double ratio, bool lowest) const {
        const double above = 1.0 - ratio * ratio;
        const double share = ratio * ratio / above;
        if (!lowest) return beyond_node ? share : kGain * share;
        const double turn = kTwiceDamping * ratio * share / above;
        return beyond_node ? turn : kGain * turn / (1.0 - kGain * share);
    }
};

double driveline_error(double speed_hz, double order) {
    if (speed_hz * 60.0 < kInGear_rpm) return 0.0;
    const double hz = order * speed_hz;
    return hz > kClutchLow_hz && hz < kClutchHigh_hz ? kClutchError : kDrivelineError;
}

OperatingPoint prepare(const Config& config, const FiringOrders& orders, const FiringOrders::Point& seen,
                       FiringOrders::Burn burn, double pitch_rad) {
    OperatingPoint point;
    const auto count = static_cast<double>(seen.cycles);
    point.energy = seen.energy / count;
    const double speed_hz = turns_hz(point.energy);
    const double mode_hz = lowest_mode_hz(config.engine);
    const Torsion torsion{config.crank_wheel.at == SensorAt::flywheel};
    const auto told = [&](int k) {
        return k < orders.orders() && orders.order(k) * speed_hz < torsion.highest_ratio() * mode_hz;
    };
    point.motored = burn == FiringOrders::Burn::none;
    point.starter = speed_hz * 60.0 < kStarter_rpm;
    double largest = 0.0;
    for (int k = 0; told(k); ++k) {
        const auto at = static_cast<std::size_t>(k);
        point.phasor[at] = seen.phasor[at] / count;
        largest = std::max(largest, std::abs(point.phasor[at]));
    }
    for (int k = 0; told(k); ++k) {
        const auto at = static_cast<std::size_t>(k);
        const double order = orders.order(k);
        const double size = std::abs(point.phasor[at]);
        // Neighbouring cycles are not independent; that doubles the variance, say.
        double variance = 2.0 * std::max(0.0, seen.square[at] / count - size * size) / count;
        variance += square(kOwnError * size) + square(kShapeError * largest);
        variance += square(size * driveline_error(speed_hz, order));
        variance += square(size * torsion.error(order * speed_hz / mode_hz, k == 0));
        // A tooth displaced by e changes the energies beside it by 2 y e / width: order n gets 2 y n times the order's
        // part of e. Half orders do not repeat each revolution, so a wheel has none.
        const bool whole = std::abs(order - std::round(order)) < 0.25;
        if (whole) variance += square(2.0 * point.energy * order * pitch_rad);
        if (variance > 0.0) point.weight[at] = 1.0 / variance;
        point.strength += size * size * point.weight[at];
    }
    return point;
}

}  // namespace

std::vector<OperatingPoint> operating_points(const Config& config, const FiringOrders& orders) {
    std::vector<OperatingPoint> all;
    const double pitch_rad = wheel_error_rad(config, orders);
    for_each_point(orders, [&](const FiringOrders::Point& seen, FiringOrders::Burn burn) {
        const OperatingPoint point = prepare(config, orders, seen, burn, pitch_rad);
        if (point.strength >= kLeastStrength) all.push_back(point);
    });
    std::sort(all.begin(), all.end(),
              [](const OperatingPoint& a, const OperatingPoint& b) { return a.strength > b.strength; });
    if (all.size() > kMostPoints) all.resize(kMostPoints);
    return all;
}

}  // namespace kurbel
