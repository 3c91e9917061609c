// Edges of a simple rigid four-cylinder engine, made in a few lines, for tests that need a plausible stream and no physics in
// depth. Everything about it is invented.
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>
#include <vector>

namespace kurbel_test {

struct Edges {
    std::vector<std::int64_t> ticks;    ///< counter values of `bits` bits
    std::vector<std::uint8_t> signals;  ///< 0 crank, 1 cam
};

struct Inline4Run {
    double seconds = 20.0;
    double speed_rpm = 1200.0;
    int lost_every = 50;  ///< every so manieth firing brings no work; 0 = none
    double timer_hz = 1.0e6;
    int bits = 32;                         ///< 0 = not wrapped
    std::int64_t first_tick = 4294000000;  ///< so that a 32-bit counter wraps early
    bool cam = true;
};

namespace detail {

/// Uniform in -1 to 1 from a 64-bit congruential generator (Knuth's MMIX constants, value from memory).
class Scatter {
  public:
    double next() noexcept {
        state_ = state_ * 6364136223846793005ULL + 1442695040888963407ULL;
        return static_cast<double>(state_ >> 11) * 0x1.0p-52 - 1.0;
    }

  private:
    std::uint64_t state_ = 7;
};

}  // namespace detail

/// Order 1-3-4-2, wheel 60-2 whose place 0 stands 84 degrees before cylinder 1's TDC, cam edge 50 degrees after its firing TDC.
inline Edges inline4_edges(const Inline4Run& run = {}) {
    constexpr double kPi = std::numbers::pi;
    constexpr int kStepsPerDegree = 8;
    constexpr double kStep = kPi / 180.0 / kStepsPerDegree;
    constexpr double kWorkPerInertia = 120.0 / 0.15;
    const double mean = run.speed_rpm * kPi / 30.0;
    detail::Scatter scatter;
    Edges edges;
    double energy = 0.5 * mean * mean;
    double time_s = 0.0;
    double work = kWorkPerInertia;
    std::int64_t firing = 0;
    const auto put = [&](std::uint8_t signal) {
        auto tick = run.first_tick + static_cast<std::int64_t>(time_s * run.timer_hz);
        if (run.bits > 0) tick &= (std::int64_t{1} << run.bits) - 1;
        edges.ticks.push_back(tick);
        edges.signals.push_back(signal);
    };
    for (std::int64_t step = 0; time_s < run.seconds; ++step) {
        const std::int64_t in_firing = step % (180 * kStepsPerDegree);
        if (in_firing == 0) {
            ++firing;
            const bool lost = run.lost_every > 0 && firing % run.lost_every == 17 % run.lost_every;
            work = lost ? 0.0 : kWorkPerInertia * (1.0 + 0.05 * scatter.next());
        }
        if (step % (6 * kStepsPerDegree) == 0) {
            const std::int64_t place = (step / (6 * kStepsPerDegree) + 14) % 60;
            if (place < 58) put(0);
        }
        if (run.cam && step % (720 * kStepsPerDegree) == 50 * kStepsPerDegree + 3) put(1);
        const double angle = static_cast<double>(in_firing) * kStep;
        const double sine = std::sin(angle);
        const double gas = work * (2.0 / kPi) * sine * sine - 900.0 * std::sin(2.0 * angle) * 0.5;
        const double load = kWorkPerInertia / kPi + 0.02 * (energy - 0.5 * mean * mean);
        time_s += kStep / std::sqrt(2.0 * energy);
        energy += (gas - load) * kStep;
    }
    return edges;
}

}  // namespace kurbel_test
