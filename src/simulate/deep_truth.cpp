#include "kurbel/simulate/deep_truth.hpp"

#include <fstream>

#include "kurbel/core/types.hpp"
#include "kurbel/read/input_error.hpp"

namespace kurbel::simulate {

namespace {

/// `value` with `places` decimals, whatever the locale says.
std::string fixed(double value, int places) {
    const bool negative = value < 0.0;
    double scale = 1.0;
    for (int i = 0; i < places; ++i) scale *= 10.0;
    const auto units = static_cast<long long>((negative ? -value : value) * scale + 0.5);
    const auto whole = static_cast<long long>(scale);
    std::string text = std::to_string(units % whole);
    text.insert(0, static_cast<std::size_t>(places) - text.size(), '0');
    return (negative && units > 0 ? "-" : "") + std::to_string(units / whole) + "." + text;
}

void write(const std::string& path, const std::string& text) {
    std::ofstream file(path, std::ios::binary | std::ios::trunc);
    file << text;
    file.close();
    if (!file) throw read::InputError(path, 0, "cannot be written");
}

std::string wheel_text(const DeepTruth& truth) {
    std::string text = "place,nominal_deg,true_deg\n";
    for (std::size_t i = 0; i < truth.true_deg.size(); ++i)
        text += std::to_string(truth.tooth_place[i]) + "," + fixed(truth.nominal_deg[i], 6) + "," +
                fixed(truth.true_deg[i], 6) + "\n";
    return text;
}

std::string edges_text(const DeepTruth& truth, const std::vector<std::uint8_t>& signal) {
    std::string text = "signal,place\n";
    for (std::size_t i = 0; i < truth.edge_place.size(); ++i) {
        text += signal[i] == static_cast<std::uint8_t>(Signal::cam) ? "cam," : "crank,";
        if (truth.edge_place[i] >= 0) text += std::to_string(truth.edge_place[i]);
        text += '\n';
    }
    return text;
}

std::string firings_text(const DeepTruth& truth) {
    std::string text = "time_s,cylinder,trapped_bar,burnt_gas,heat_j,burnt,ca50_deg\n";
    for (const FiringTruth& f : truth.firings) {
        text += fixed(f.time_s, 9) + "," + std::to_string(f.cylinder) + "," + fixed(f.trapped_bar, 4) + "," +
                fixed(f.burnt_gas, 4) + "," + fixed(f.heat_j, 2) + "," + fixed(f.burnt, 4) + ",";
        if (f.heat_j > 0.0) text += fixed(f.ca50_deg, 2);
        text += '\n';
    }
    return text;
}

}  // namespace

void write_deep_truth(const std::string& folder, const DeepTruth& truth, const std::vector<std::uint8_t>& signal) {
    write(folder + "/truth_wheel.csv", wheel_text(truth));
    write(folder + "/truth_phase.toml",
          "# Angle of the crank wheel's end of the shaft at time 0, crank degrees after cylinder 1's firing "
          "TDC.\nstart_deg = " +
              fixed(truth.start_deg, 6) + "\n");
    write(folder + "/truth_edges.csv", edges_text(truth, signal));
    write(folder + "/truth_firings.csv", firings_text(truth));
    if (truth.battery_v.empty()) return;
    std::string text = "time_s,battery_v\n";
    for (std::size_t i = 0; i < truth.battery_v.size(); ++i)
        text += fixed(static_cast<double>(i) * truth.battery_every_s, 3) + "," + fixed(truth.battery_v[i], 3) + "\n";
    write(folder + "/truth_battery.csv", text);
}

}  // namespace kurbel::simulate
