#include "kurbel/study/firing_orders.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/phase_finder.hpp"

namespace kurbel {

namespace {

/// Orders above this hold little of what gas does to a crank.
constexpr double kHighestOrder = 12.0;
/// Two unknowns an order, against the intervals of a revolution, of which the gap takes some.
constexpr double kOrdersPerTooth = 0.42;
/// An order whose noise is raised by the gap beyond this factor is not told by the wheel.
constexpr double kWorstNoise = 4.0;

/// Quiet orders begin where the unequal work of cylinders has faded, and no two cylinders add up there.
constexpr double kFirstQuiet = 3.0;
constexpr double kCancelled = 0.05;

double order_step(const EngineConfig& engine) { return engine.strokes == 2 ? 1.0 : 0.5; }

/// How far the cylinders act together at this order, 0 to 1.
double coherence(const EngineConfig& engine, double order) {
    std::complex<double> sum = 0.0;
    for (int i = 0; i < engine.cylinders; ++i)
        sum += std::polar(1.0, -order * to_rad(engine.firing_tdc_deg[static_cast<std::size_t>(i)]));
    return std::abs(sum) / engine.cylinders;
}

}  // namespace

FiringOrders::FiringOrders(const Config& config)
    : teeth_(config.crank_wheel.teeth),
      intervals_(teeth_ * (config.engine.strokes == 2 ? 1 : 2)),
      cylinders_(config.engine.cylinders),
      phase_matters_(config.engine.strokes != 2 && !symmetric_under_360(config.engine)),
      hz_(config.timer.hz),
      cycle_rad_(to_rad(config.engine.cycle_deg())),
      row_(static_cast<std::size_t>(intervals_)),
      factor_(static_cast<std::size_t>(intervals_)),
      points_(static_cast<std::size_t>(kBurns * kSpeeds)) {
    const double step = order_step(config.engine);
    const double highest = std::min(kHighestOrder, step * std::floor(kOrdersPerTooth * teeth_ / step));
    choose_orders(config.engine, highest);
    if (orders_ > 0) make_rows(config, highest);
}

void FiringOrders::choose_orders(const EngineConfig& engine, double highest) {
    const double step = order_step(engine);
    for (double order = step; order <= highest && orders_ < kMostOrders; order += step)
        if (coherence(engine, order) >= kCoherence) order_[static_cast<std::size_t>(orders_++)] = order;
    for (double order = std::floor(highest); order >= kFirstQuiet && quiet_ < kMostQuiet; order -= 1.0)
        if (coherence(engine, order) <= kCancelled) quiet_order_[static_cast<std::size_t>(quiet_++)] = order;
}

void FiringOrders::make_rows(const Config& config, double highest) {
    const WheelConfig& wheel = config.crank_wheel;
    const double step = order_step(config.engine);
    const int waves = static_cast<int>(std::lround(highest / step));
    const auto angle_deg = [&](int tooth) {
        return static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(tooth % teeth_)]) +
               360.0 * (tooth / teeth_);
    };
    // Columns: constant, then cosine and sine of each order, all as means over the interval.
    Eigen::MatrixXd design(intervals_, 1 + 2 * waves);
    Eigen::VectorXd slope(intervals_);
    for (int i = 0; i < intervals_; ++i) {
        const double begin = to_rad(angle_deg(i) - wheel.tdc1_deg);
        const double width = to_rad(angle_deg(i + 1) - angle_deg(i));
        const double middle = begin + 0.5 * width;
        factor_[static_cast<std::size_t>(i)] = 0.5 * width * width * hz_ * hz_;
        slope[i] = middle / cycle_rad_;
        design(i, 0) = 1.0;
        for (int w = 0; w < waves; ++w) {
            const double order = (w + 1) * step;
            const double softened = std::sin(0.5 * order * width) / (0.5 * order * width);
            design(i, 1 + 2 * w) = softened * std::cos(order * middle);
            design(i, 2 + 2 * w) = -softened * std::sin(order * middle);
        }
    }
    const Eigen::MatrixXd normal = design.transpose() * design;
    const Eigen::MatrixXd solve = normal.ldlt().solve(design.transpose());
    const Eigen::VectorXd slope_fit = solve * slope;
    // Writes the two rows of `order` to place `fit`; false where the gap lets too much noise through.
    const auto take = [&](double order, std::size_t fit) {
        const int at = 2 * static_cast<int>(std::lround(order / step)) - 1;
        const double gain = 0.5 * (solve.row(at).squaredNorm() + solve.row(at + 1).squaredNorm());
        if (!(gain <= kWorstNoise * 2.0 / intervals_)) return false;
        for (int part = 0; part < 2; ++part) {
            const std::size_t column = 2 * fit + static_cast<std::size_t>(part);
            for (int i = 0; i < intervals_; ++i) row_[static_cast<std::size_t>(i)][column] = solve(at + part, i);
            slope_row_[column] = slope_fit[at + part];
        }
        return true;
    };
    const auto keep = [&](auto& orders, int& count, std::size_t first) {
        std::size_t kept = 0;
        for (std::size_t i = 0; i < static_cast<std::size_t>(count); ++i)
            if (take(orders[i], first + kept)) orders[kept++] = orders[i];
        count = static_cast<int>(kept);
    };
    keep(order_, orders_, 0);
    keep(quiet_order_, quiet_, kMostOrders);
}

int FiringOrders::cut_state() const noexcept {
    int cut = 0;
    for (int i = 0; i < cylinders_; ++i) cut += cut_ || cut_one_[static_cast<std::size_t>(i)] ? 1 : 0;
    if (cut == 0) return 0;
    return cut == cylinders_ ? 1 : 2;
}

void FiringOrders::push_channel(Channel channel, double value) noexcept {
    const int one = static_cast<int>(channel) - static_cast<int>(Channel::fuel_cut_first);
    if (channel == Channel::load) load_ = value;
    if (channel == Channel::fuel_cut) cut_ = value > 0.5;
    if (one >= 0 && one < kMaxCylinders) cut_one_[static_cast<std::size_t>(one)] = value > 0.5;
    const int state = cut_state();
    if (state != last_cut_state_) steady_cycles_ = -1;  // the cycle under way is a mixed one
    last_cut_state_ = state;
}

void FiringOrders::begin_cycle() noexcept {
    whole_ = true;
    sum_ = {};
    energy_ = 0.0;
    cycle_tick_ = last_tick_;
}

void FiringOrders::forget_points() noexcept {
    std::fill(points_.begin(), points_.end(), Point{});
    whole_ = false;
    before_.whole = waiting_.whole = false;
}

void FiringOrders::push(const Tooth& tooth) noexcept {
    if (orders_ == 0) return;
    const int begins = interval_of(tooth);
    const bool turned = has_last_ && begins == (next_ + teeth_) % intervals_;  // the other revolution was meant
    if (phase_matters_ && (turned || (!phase_told_ && (tooth.phase_known || tooth.restart)))) forget_points();
    phase_told_ = phase_told_ || tooth.phase_known;
    if (tooth.restart || !has_last_ || begins != next_ || (phase_matters_ && tooth.phase_known != phase_told_)) {
        whole_ = false;
    } else if (whole_) {
        const auto ended = static_cast<std::size_t>((begins + intervals_ - 1) % intervals_);
        const auto ticks = static_cast<double>(tooth.tick - last_tick_);
        const double energy = factor_[ended] / (ticks * ticks);
        energy_ += energy;
        const Row& row = row_[ended];
        for (std::size_t k = 0; k < row.size(); ++k) sum_[k] += row[k] * energy;
    }
    has_last_ = true;
    last_tick_ = tooth.tick;
    next_ = (begins + 1) % intervals_;
    if (begins != 0) return;
    finish_cycle();
    begin_cycle();
}

void FiringOrders::finish_cycle() noexcept {
    Cycle done;
    done.whole = whole_;
    const int state = last_cut_state_;
    ++steady_cycles_;
    done.usable = steady_cycles_ > kSettle && state != 2;
    done.energy = energy_ / intervals_;
    done.fit = sum_;
    const double turns = cycle_rad_ / (2.0 * std::numbers::pi);
    done.rpm = 60.0 * turns * hz_ / static_cast<double>(last_tick_ - cycle_tick_);
    // Where load divides: low holds idling and coasting, high what a driver calls pulling; an unknown one is in between.
    if (load_ < 0.35) done.burn = Burn::low;
    if (load_ > 0.65) done.burn = Burn::high;
    if (state == 1) done.burn = Burn::none;
    if (before_.whole && waiting_.whole && done.whole && waiting_.usable && done.usable)
        count(waiting_, 0.5 * (done.energy - before_.energy));
    before_ = waiting_;
    waiting_ = done;
}

void FiringOrders::count(const Cycle& cycle, double slope) noexcept {
    const double place = std::log(cycle.rpm / kSlowest_rpm) / std::log(kSpeedStep);
    if (!(place >= 0.0 && place < kSpeeds)) return;
    Point& point = points_[static_cast<std::size_t>(static_cast<int>(cycle.burn) * kSpeeds + static_cast<int>(place))];
    ++point.cycles;
    point.energy += cycle.energy;
    for (int k = 0; k < orders_; ++k) {
        const auto at = static_cast<std::size_t>(k);
        const std::complex<double> phasor(cycle.fit[2 * at] - slope * slope_row_[2 * at],
                                          cycle.fit[2 * at + 1] - slope * slope_row_[2 * at + 1]);
        point.phasor[at] += phasor;
        point.square[at] += std::norm(phasor);
    }
    for (int k = 0; k < quiet_; ++k) {
        const auto at = static_cast<std::size_t>(kMostOrders + k);
        point.quiet[static_cast<std::size_t>(k)] += std::complex<double>(
            cycle.fit[2 * at] - slope * slope_row_[2 * at], cycle.fit[2 * at + 1] - slope * slope_row_[2 * at + 1]);
    }
}

}  // namespace kurbel
