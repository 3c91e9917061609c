// Engines on paper for the studies that compare cylinders: three to eight cylinders, their sizes, wheels and timers drawn by seed.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <string>
#include <vector>

#include "draw.hpp"
#include "kurbel/core/config.hpp"
#include "kurbel/simulate/scenario_file.hpp"

namespace kurbel_studies {

using kurbel::simulate::Scenario;

inline constexpr std::array<const char*, 9> kEngines{"inline3", "inline4",     "inline5",       "inline6",     "boxer4",
                                                     "v6-60",   "v6-90-split", "v8-crossplane", "v8-flatplane"};

/// Wheels: positions, and how many of the last are absent.
inline constexpr std::array<std::array<int, 2>, 4> kWheels{{{60, 2}, {60, 2}, {36, 1}, {24, 1}}};

/// A machine of the kind `engine` with sizes, wheel, timer and sensor of its own. Ranges are engineering ranges, from memory; none was
/// chosen for what a study made of it.
inline Scenario draw_machine(const std::string& datasets, const std::string& engine, Random& random,
                             std::uint64_t seed) {
    using namespace kurbel;
    Scenario s = simulate::read_scenario(datasets + "/engines/" + engine + ".toml", seed);
    EngineConfig& e = s.engine;
    e.bore_mm *= random.uniform(0.92, 1.08);
    e.stroke_mm *= random.uniform(0.92, 1.08);
    e.compression_ratio = random.uniform(8.8, 12.0);
    e.reciprocating_kg *= random.uniform(0.8, 1.25);
    e.inertia_kg_m2 *= random.uniform(0.75, 1.35);
    const auto [positions, absent] = kWheels[static_cast<std::size_t>(random.below(static_cast<int>(kWheels.size())))];
    std::vector<int> gone;
    for (int i = 0; i < absent; ++i) gone.push_back(positions - absent + i);
    static_cast<void>(make_even_wheel(positions, gone.data(), absent, s.crank_wheel));
    s.crank_wheel.tdc1_deg = random.uniform(0.0, 360.0);
    s.crank_wheel.at = random.chance(0.5) ? SensorAt::front : SensorAt::flywheel;
    s.cam_wheel.edge_deg[0] = random.uniform(0.0, 720.0);
    constexpr double kHz[] = {1e6, 4e6, 20e6, 80e6};
    s.has_timer = true;
    s.timer = {kHz[random.below(4)], 32};
    // Machined, stamped, or already learned.
    constexpr double kPitch_deg[] = {0.0, 0.02, 0.05, 0.1};
    s.wheel_error.pitch_deg = kPitch_deg[random.below(4)];
    s.wheel_error.run_out_deg = random.chance(0.5) ? random.uniform(0.0, 0.06) : 0.0;
    s.wheel_error.jitter_deg = random.uniform(0.0, 0.02);
    s.combustion.compression_exponent = random.uniform(1.27, 1.36);
    s.combustion.expansion_exponent = s.combustion.compression_exponent + random.uniform(-0.03, 0.02);
    s.gas_exchange.intake_closing_deg = random.uniform(-150.0, -120.0);
    s.gas_exchange.exhaust_opening_deg = random.uniform(115.0, 140.0);
    s.channels.load_gain = random.uniform(0.93, 1.07);
    s.told.inertia_factor = random.uniform(0.93, 1.07);
    s.told.tdc1_error_deg = random.uniform(-1.0, 1.0);
    s.seed = seed;
    s.machine_seed = seed;
    return s;
}

/// Adds up squares, and how often an interval held what it should.
struct Misses {
    double squares = 0.0;
    int readings = 0;
    int inside = 0;

    void add(double value, double truth, double low, double high) {
        squares += (value - truth) * (value - truth);
        ++readings;
        inside += truth >= low && truth <= high ? 1 : 0;
    }
    [[nodiscard]] double rms() const { return readings > 0 ? std::sqrt(squares / readings) : 0.0; }
};

}  // namespace kurbel_studies
