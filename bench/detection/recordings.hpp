// The recordings of a cell: engines drawn until enough has happened.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <string>

#include "cell.hpp"
#include "kurbel/core/fnv.hpp"
#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"

namespace kurbel_detection {

/// How much a cell holds at least.
struct Amount {
    std::int64_t misfires = 300;
    std::int64_t healthy = 10000;
    int engines = 2;
    double longest_s = 240.0;  ///< of one recording without a course of its own
};

/// The number that engine `number` of a cell is drawn by. It depends on nothing else, so that leaving out other cells changes nothing.
[[nodiscard]] inline std::uint64_t draw_number(const Cell& cell, std::uint64_t seed, int number) noexcept {
    kurbel::simulate::Random random(
        seed, kurbel::fnv1a(cell.name.data(), cell.name.size()) + static_cast<std::uint64_t>(number));
    return (random.next() >> 14) + 1;
}

/// Share of the firings that the rules take, roughly: where several meet, as if they never did.
[[nodiscard]] inline double expected_share(const Scenario& s) noexcept {
    double share = 0.0;
    for (const kurbel::simulate::MisfireRule& rule : s.misfires) {
        const double cylinders =
            rule.cylinders.empty() ? 1.0 : static_cast<double>(rule.cylinders.size()) / s.engine.cylinders;
        double of_them = 1.0;
        switch (rule.pattern) {
            case kurbel::simulate::MisfirePattern::continuous: break;
            case kurbel::simulate::MisfirePattern::random: of_them = rule.rate; break;
            case kurbel::simulate::MisfirePattern::periodic: of_them = 1.0 / rule.every; break;
            case kurbel::simulate::MisfirePattern::burst:
                of_them = rule.rate * rule.length / (1.0 + rule.rate * rule.length);
        }
        // Rules of one cylinder that follow each other (it dies in steps) are one rule.
        share = rule.pattern == kurbel::simulate::MisfirePattern::continuous ? std::max(share, cylinders)
                                                                             : share + cylinders * of_them;
    }
    return std::min(share, 0.99);
}

/// Seconds after which one of `amount.engines` recordings has had its part: two standard deviations of room where chance decides.
[[nodiscard]] inline double seconds_for(const Scenario& s, const Amount& amount) noexcept {
    const double share = expected_share(s);
    const double rate_hz =
        s.operation.speed_rpm.at(0.0) * s.engine.cylinders * (s.engine.strokes == 2 ? 2.0 : 1.0) / 120.0;
    const auto misfires = static_cast<double>(amount.misfires);
    double firings = static_cast<double>(amount.healthy) / (1.0 - share);
    if (share > 0.0) firings = std::max(firings, (misfires + 2.0 * std::sqrt(misfires)) / share);
    return std::clamp(1.05 * firings / rate_hz / amount.engines, 10.0, amount.longest_s);
}

/// Engine `number` of the cell. Throws what read_scenario throws.
[[nodiscard]] inline Scenario draw_scenario(const Cell& cell, const std::string& datasets, const Amount& amount,
                                            std::uint64_t seed, int number) {
    const std::uint64_t drawn = draw_number(cell, seed, number);
    Scenario s = kurbel::simulate::read_scenario(datasets + "/" + cell.file, drawn);
    Draw draw(drawn);
    for (const Change& change : cell.changes) change(s, draw);
    if (!cell.own_length) s.seconds = seconds_for(s, amount);
    return s;
}

/// A recording, and what it has no room for.
struct Recorded {
    Recording recording{};
    kurbel::simulate::DeepTruth truth{};
    bool turned_back = false;  ///< in truth the crank of a running engine stood or turned backwards
};

[[nodiscard]] inline Recorded record(const Cell& cell, const Scenario& scenario) {
    Recorded recorded;
    using kurbel::simulate::Operation;
    const Operation mode = scenario.operation.mode;
    const bool starts = mode == Operation::start || mode == Operation::cranking;
    const auto watch = [&](const kurbel::simulate::EngineModel& model, double) {
        const auto sensor = static_cast<std::size_t>(
            scenario.crank_wheel.at == kurbel::SensorAt::flywheel ? model.layout().flywheel : model.layout().front);
        if (!starts && !(model.speed_rad_s[sensor] > 0.0)) recorded.turned_back = true;
    };
    recorded.recording = kurbel::simulate::simulate(scenario, {}, watch, &recorded.truth);
    if (cell.tamper) cell.tamper(recorded.recording);
    return recorded;
}

}  // namespace kurbel_detection
