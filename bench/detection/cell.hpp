// The cells of the detection table: what is varied on purpose. All else is drawn by seed.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include "ranges.hpp"

namespace kurbel_detection {

enum class Load : std::uint8_t { neutral = 0, low, mid };
enum class Pattern : std::uint8_t { random = 0, dead };

/// One cell. `speed_rpm` is nominal; the drawn speed lies around it.
struct Cell {
    int cylinders = 4;  ///< inline, even firing: 4 or 5
    Load load = Load::neutral;
    int speed_rpm = 800;
    Pattern pattern = Pattern::random;
};

inline constexpr int kIdleSpeed_rpm = 800;

/// "I4 neutral 800 random"; also the name that the cell's engine is drawn by.
[[nodiscard]] inline std::string name(const Cell& cell) {
    static constexpr std::array<const char*, 3> loads{"neutral", "gear-low", "gear-mid"};
    static constexpr std::array<const char*, 2> patterns{"random", "dead"};
    return "I" + std::to_string(cell.cylinders) + " " + loads[static_cast<std::size_t>(cell.load)] + " " +
           std::to_string(cell.speed_rpm) + " " + patterns[static_cast<std::size_t>(cell.pattern)];
}

/// Whether an engine is run like this. Middle load at idle speed in gear is no operating point of a car with a clutch: one misfire
/// sets off a judder between 200 and 2000 rpm, which a driver ends by changing down.
[[nodiscard]] constexpr bool makes_sense(const Cell& cell) noexcept {
    return cell.load != Load::mid || cell.speed_rpm > kIdleSpeed_rpm;
}

/// Every combination that makes sense, in the order of the table.
[[nodiscard]] inline std::vector<Cell> all_cells() {
    std::vector<Cell> cells;
    for (const int cylinders : {4, 5})
        for (const Load load : {Load::neutral, Load::low, Load::mid})
            for (const int speed_rpm : {kIdleSpeed_rpm, 2000, 3000, 4500, 6000})
                for (const Pattern pattern : {Pattern::random, Pattern::dead})
                    if (const Cell cell{cylinders, load, speed_rpm, pattern}; makes_sense(cell)) cells.push_back(cell);
    return cells;
}

/// Firings that hold at least `misfires` misfires and `healthy` judged healthy firings: four standard deviations of room where
/// chance decides, and a twentieth for the start, which is not judged, and for speeds that end up a little low.
[[nodiscard]] inline int firings_for(const Cell& cell, double misfires, double healthy) {
    const double others = cell.cylinders - 1.0;
    const double dead = cell.cylinders * std::max(misfires, healthy / others);
    const double for_misfires = (misfires + 4.0 * std::sqrt(misfires) + 8.0) / kRandomRate;
    const double for_healthy = (healthy + 4.0 * std::sqrt(kRandomRate * healthy)) / (1.0 - kRandomRate);
    const double firings = cell.pattern == Pattern::dead ? dead : std::max(for_misfires, for_healthy);
    return static_cast<int>(std::ceil(1.05 * firings)) + 40;
}

}  // namespace kurbel_detection
