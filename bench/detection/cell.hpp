// One cell of the detection table: a condition that a detector is tried under, on engines drawn by seed.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "kurbel/read/recording.hpp"
#include "kurbel/simulate/random.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel_detection {

using kurbel::read::Recording;
using kurbel::simulate::Scenario;

/// Draws what a cell adds to its scenario file; the stream belongs to the recording, so that leaving out others changes nothing.
class Draw {
  public:
    explicit Draw(std::uint64_t seed) : random_(seed, 77) {}
    [[nodiscard]] double from(double low, double high) { return low + (high - low) * random_.uniform(); }
    /// 0 to count - 1.
    [[nodiscard]] int pick(int count) { return static_cast<int>(random_.uniform() * count); }

  private:
    kurbel::simulate::Random random_;
};

/// What is asked of a cell, and how it is run.
enum class Kind : std::uint8_t {
    steady,     ///< one operating point: at most 0.5 % missed at 2e-4 false alarms
    transient,  ///< what changes while it runs: at most 1 % missed at 1e-3
    cold,       ///< starts and cold idle: as transient
    rough,      ///< rough road: as transient; what is left unjudged for it does not count
    healthy,    ///< no misfire: at most 1e-4 false alarms
    beyond  ///< shown, but nothing is promised: 1 or more than 8 cylinders, two strokes, above 6000 rpm, a wrong TDC
};

[[nodiscard]] constexpr std::string_view name(Kind kind) noexcept {
    constexpr std::string_view names[] = {"steady", "transient", "cold", "rough", "healthy", "beyond"};
    return names[static_cast<std::size_t>(kind)];
}

/// Limits of a kind, as shares.
struct Limits {
    double missed = 0.0;
    double false_alarms = 0.0;
};
[[nodiscard]] constexpr Limits limits_of(Kind kind) noexcept {
    switch (kind) {
        case Kind::transient:
        case Kind::cold:
        case Kind::rough: return {0.01, 1e-3};
        case Kind::healthy: return {0.0, 1e-4};
        case Kind::steady:
        case Kind::beyond: break;
    }
    return {0.005, 2e-4};
}

using Change = std::function<void(Scenario&, Draw&)>;
using Tamper = std::function<void(Recording&)>;

struct Cell {
    std::string name;
    std::string file;  ///< scenario with ranges, relative to datasets/
    Kind kind = Kind::steady;
    bool own_length = false;      ///< the file's seconds stand: something happens at set times
    std::vector<Change> changes;  ///< to the drawn scenario, in order
    Tamper tamper;                ///< to the recording, before anything is detected in it
};

/// All cells, in the order of the table.
[[nodiscard]] const std::vector<Cell>& all_cells();

}  // namespace kurbel_detection
