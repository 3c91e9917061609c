// Relative compression measured: engines whose cylinders leak or fill badly, turned by weak, usual and strong starters.
#pragma once

#include <cstdio>
#include <map>

#include "engines.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "kurbel/study/cranking.hpp"
#include "swap_table.hpp"

namespace kurbel_studies {

/// Mean gauge pressure at TDC from `begin_s` to `end_s`, percent of the best cylinder, by cylinder; and the best itself.
struct TruePressures {
    std::map<int, double> percent;
    double best_bar = 0.0;

    TruePressures(const kurbel::read::Recording& recording, double begin_s, double end_s) {
        std::map<int, int> count;
        for (const kurbel::read::TruthRow& row : recording.truth) {
            if (row.time_s < begin_s || row.time_s > end_s || !std::isfinite(row.tdc_bar)) continue;
            percent[row.cylinder] += row.tdc_bar;
            ++count[row.cylinder];
        }
        for (auto& [cylinder, value] : percent) best_bar = std::max(best_bar, value /= count[cylinder]);
        for (auto& [cylinder, value] : percent) value *= 100.0 / best_bar;
    }
};

inline double mean_rpm(const kurbel::read::Recording& recording, double begin_s, double end_s) {
    double firings = 0.0;
    for (const kurbel::read::TruthRow& row : recording.truth)
        firings += row.time_s >= begin_s && row.time_s < end_s ? 1.0 : 0.0;
    return firings * 120.0 / recording.config.engine.cylinders / (end_s - begin_s);
}

/// One engine on one starter. `strength`: 0 weak, 1 usual, 2 strong.
struct Cranked {
    Scenario scenario;
    std::string engine;
    int strength = 0;
    int faulty = 0;
};

inline constexpr std::array<const char*, 3> kStrengths{"weak", "usual", "strong"};

/// A starter that turns the engine at `rpm` or so: a straight line through what the engine needs there.
inline void choose_starter(Scenario& s, int strength, double rpm, Random& random) {
    const auto& e = s.engine;
    const double displaced = 0.25e-9 * std::numbers::pi * e.bore_mm * e.bore_mm * e.stroke_mm;
    // Friction near 1.1 bar over the whole displacement, and what leaks and heat take; one cylinder's net compression on top for weak
    // starters, who must bring the engine over its first dead centre.
    const double friction = 1.1e5 * displaced * e.cylinders / (4.0 * std::numbers::pi);
    const double gas = 1.35e5 * displaced * (e.compression_ratio / 10.0);
    constexpr double kFactor[] = {1.6, 2.1, 2.9};
    s.starter.stall_nm = kFactor[strength] * (1.25 * gas + friction);
    s.starter.free_rpm = rpm * (1.0 + random.uniform(0.15, 0.35));
    s.starter.ratio_inertia_kg_m2 = e.inertia_kg_m2 * random.uniform(0.06, 0.2);
    if (random.chance(0.5)) {
        s.starter.stall_a = random.uniform(450.0, 800.0);
        s.starter.battery_v = random.uniform(12.1, 12.8);
        s.starter.battery_ohm = random.uniform(0.002, 0.005);
    }
}

/// `fault`: none, or cylinders that leak or fill badly, 5 to 40 % of their pressure.
inline Cranked draw_cranked(const std::string& datasets, const std::string& engine, int strength, bool fault,
                            std::uint64_t seed) {
    using namespace kurbel;
    Random random(seed);
    Cranked drawn;
    drawn.engine = engine;
    drawn.strength = strength;
    Scenario& s = drawn.scenario = draw_machine(datasets, engine, random, seed);
    s.operation.mode = simulate::Operation::cranking;
    s.operation.load = simulate::Profile(random.uniform(0.93, 1.0));
    s.settle_s = 0.0;
    s.seconds = random.uniform(5.0, 9.0);
    s.misfires.clear();
    s.fuel_cuts = {simulate::FuelCut{}};
    choose_starter(s, strength, random.uniform(145.0, 275.0), random);
    const int z = s.engine.cylinders;
    s.combustion.leak_mm2.assign(static_cast<std::size_t>(z), 0.0);
    s.combustion.charge_factor.assign(static_cast<std::size_t>(z), 1.0);
    for (int k = 0; k < z; ++k) {
        s.combustion.leak_mm2[static_cast<std::size_t>(k)] = random.uniform(0.02, 0.08);
        s.combustion.charge_factor[static_cast<std::size_t>(k)] = random.uniform(0.99, 1.0);
    }
    if (!fault) return drawn;
    drawn.faulty = 1 + random.below(std::max(z / 2, 1));
    const double clearance = 0.25e-9 * std::numbers::pi * s.engine.bore_mm * s.engine.bore_mm * s.engine.stroke_mm /
                             (s.engine.compression_ratio - 1.0);
    for (int i = 0; i < drawn.faulty; ++i) {
        const auto k = static_cast<std::size_t>(random.below(z));
        const double loss = random.uniform(0.05, 0.4);
        // Clearance over volume, summed over the compression: 0.86 radians at a ratio of 10. 284 m/s: as in the simulator.
        const double exposure_s = 0.86 / (0.85 * s.starter.free_rpm * std::numbers::pi / 30.0);
        if (random.chance(0.75))
            s.combustion.leak_mm2[k] += -std::log(1.0 - loss) / exposure_s * clearance / 284.0 * 1e6;
        else
            s.combustion.charge_factor[k] = 1.0 - loss;
    }
    return drawn;
}

struct CrankingFigures {
    Misses all;
    Misses low;  ///< cylinders that truly lie 5 % or more below the best
    int engines = 0;
    int refused = 0;
    int stalled = 0;  ///< the starter did not turn it at 150 to 300 rpm: not counted
    int undecided = 0;
    int wrong = 0;         ///< "uneven" of cylinders that all lie within the limit, or "even" of others
    int false_uneven = 0;  ///< of those without a fault
    int even = 0;
    double worst = 0.0;
};

class CrankingTable {
  public:
    CrankingTable(std::string datasets, bool each) : datasets_(std::move(datasets)), each_(each) {}

    void run(int tests, std::uint64_t seed) {
        for (int i = 0; i < tests; ++i)
            for (std::size_t e = 0; e < kEngines.size(); ++e)
                for (int strength = 0; strength < 3; ++strength) {
                    const auto number = static_cast<std::uint64_t>(i) * kEngines.size() * 3 + e * 3 +
                                        static_cast<std::uint64_t>(strength);
                    // One in four is sound.
                    one(draw_cranked(datasets_, kEngines[e], strength, number % 4 != 3, seed * 100003 + number));
                }
    }

    /// One drawn engine.
    void one(const Cranked& drawn) {
        using namespace kurbel;
        const read::Recording recording = simulate::simulate(drawn.scenario);
        const double end_s = drawn.scenario.seconds;
        const double rpm = mean_rpm(recording, 1.5, end_s);
        if (rpm < 150.0 || rpm > 300.0) {
            ++stalled_;
            return;
        }
        const std::array<std::string, 4> rows{
            "all", drawn.engine, std::string("starter ") + kStrengths[static_cast<std::size_t>(drawn.strength)],
            rpm < 200.0   ? "150 to 200 rpm"
            : rpm < 250.0 ? "200 to 250 rpm"
                          : "250 to 300 rpm"};
        RelativeCompression result;
        bool refused = false;
        try {
            result = measure_compression(recording, "drawn");
        } catch (const read::InputError& error) {
            refused = true;
            if (each_) std::printf("%s refused: %s\n", drawn.engine.c_str(), error.what());
        }
        for (const std::string& row : rows) {
            CrankingFigures& f = figures_[row];
            ++f.engines;
            if (refused) {
                ++f.refused;
                continue;
            }
            const TruePressures truth(recording, result.begin_s, result.end_s);
            double lowest = 100.0;
            double off_most = 0.0;
            for (const CylinderCompression& reading : result.cylinders) {
                const double value = truth.percent.at(reading.cylinder);
                lowest = std::min(lowest, value);
                f.all.add(reading.percent, value, reading.low - 0.05, reading.high + 0.05);
                if (value < 95.0) f.low.add(reading.percent, value, reading.low, reading.high);
                off_most = std::max(off_most, std::fabs(reading.percent - value));
            }
            f.worst = std::max(f.worst, off_most);
            f.undecided += result.verdict == "undecided" ? 1 : 0;
            f.wrong += (result.verdict == "even" && lowest < 90.0) || (result.verdict == "uneven" && lowest >= 90.0);
            if (lowest >= 90.0) {
                ++f.even;
                f.false_uneven += result.verdict == "uneven" ? 1 : 0;
            }
            if (each_ && row == "all") {
                std::printf("%-14s %-6s %3.0f rpm %-9s scatter %.4f n %.3f (%.3f) tdc %+.2f (%+.2f) best %.1f bar:",
                            drawn.engine.c_str(), kStrengths[static_cast<std::size_t>(drawn.strength)], rpm,
                            result.verdict.c_str(), result.scatter, result.exponent,
                            drawn.scenario.combustion.compression_exponent, result.tdc_offset_deg,
                            drawn.scenario.told.tdc1_error_deg, truth.best_bar);
                for (const CylinderCompression& reading : result.cylinders) {
                    const double value = truth.percent.at(reading.cylinder);
                    const bool inside = value >= reading.low - 0.05 && value <= reading.high + 0.05;
                    std::printf(" %.1f/%.1f(%.1f-%.1f)%s", reading.percent, value, reading.low, reading.high,
                                inside ? "" : "!");
                }
                std::printf("\n");
                std::fflush(stdout);
            }
        }
    }

    void print() const {
        std::printf(
            "| engines | turned | refused | undecided | wrong verdict | even called uneven | readings | rms, points | "
            "rms of the low ones | worst | within the 95 %% range |\n|---|---|---|---|---|---|---|---|---|---|---|\n");
        for (const auto& [name, f] : figures_)
            std::printf("| %s | %d | %d | %d | %d | %d of %d | %d | %.2f | %.2f (%d) | %.1f | %s |\n", name.c_str(),
                        f.engines, f.refused, f.undecided, f.wrong, f.false_uneven, f.even, f.all.readings, f.all.rms(),
                        f.low.rms(), f.low.readings, f.worst, share_text(f.all.inside, f.all.readings).c_str());
        std::printf("\nNot turned at 150 to 300 rpm by the starter drawn, and not counted: %d.\n", stalled_);
    }

    [[nodiscard]] const CrankingFigures& all() const { return figures_.at("all"); }

  private:
    std::string datasets_;
    bool each_;
    std::map<std::string, CrankingFigures> figures_;
    int stalled_ = 0;
};

}  // namespace kurbel_studies
