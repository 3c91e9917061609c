// What the engine on paper knows beyond truth.csv: for those who build or judge a part of the chain alone.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace kurbel::simulate {

/// One firing, in the order and with the time of the recording's truth rows.
struct FiringTruth {
    double time_s = 0.0;        ///< firing TDC on the recording's clock
    std::int32_t cylinder = 0;  ///< 1-based
    double trapped_bar = 0.0;   ///< absolute, at the bottom before compression
    double burnt_gas = 0.0;     ///< share of the charge that had burnt before
    double heat_j = 0.0;        ///< released while the exhaust was shut
    double burnt = 0.0;         ///< share of the fuel that burnt by then
    double ca50_deg = 0.0;  ///< half of the heat, degrees after TDC, as if the burn were not cut short; 0 where none is
};

struct DeepTruth {
    double start_deg = 0.0;  ///< angle of the crank wheel's shaft end at time 0, degrees after cylinder 1's firing TDC
    std::vector<std::int32_t> tooth_place;  ///< place of each tooth of the crank wheel, counted as recording.toml does
    std::vector<double> nominal_deg;        ///< its angle from place 0 as recording.toml says
    std::vector<double> true_deg;           ///< and in truth
    std::vector<std::int32_t> edge_place;  ///< of each edge of the recording: place of the tooth or number of the cam's
                                           ///< edge, from 0; -1 where the edge is no tooth's
    std::vector<FiringTruth> firings;
    double battery_every_s = 0.005;
    std::vector<double> battery_v;  ///< from time 0 on; empty where the scenario describes no battery
};

/// Writes truth_wheel.csv, truth_phase.toml, truth_edges.csv, truth_firings.csv and, with a battery, truth_battery.csv into
/// `folder`, which must exist. `signal` is the recording's. Throws read::InputError naming what cannot be written.
void write_deep_truth(const std::string& folder, const DeepTruth& truth, const std::vector<std::uint8_t>& signal);

}  // namespace kurbel::simulate
