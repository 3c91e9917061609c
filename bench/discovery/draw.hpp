// Wheels, engines and drives of the discovery table, drawn by seed.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "kurbel/simulate/random.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel_discovery {

/// A wheel of the trade (common practice, no source); uneven ones are drawn anew by each seed.
struct WheelKind {
    const char* name;
    int positions;  ///< 0: listed
    std::vector<int> absent;
    int vanes = 0;           ///< this many uneven edges a revolution
    bool coded = false;      ///< 24 slots at 15 degrees, the flank that carries a code
    bool plain = false;      ///< nothing but a second line tells where it is
    int most_positions = 0;  ///< plain rings: drawn from `positions` to this
};

[[nodiscard]] const std::vector<WheelKind>& wheel_kinds();

/// `cut` is a short one at driving speed; `coast` is the one that the guide asks for: in gear, foot off, down to little above idle. It is
/// not drawn, only asked for.
enum class Drive : std::uint8_t { idle, hold, cut, coast };

struct Drawn {
    kurbel::simulate::Scenario scenario;
    std::string engine;  ///< name of the engine file
    Drive drive = Drive::idle;
    bool reference = false;  ///< the second line repeats every revolution
};

/// Engine, wheel, drive and faults of one seed. `cells` is the folder of the layout cells; `drive` fixes the drive.
[[nodiscard]] Drawn draw(const WheelKind& kind, std::uint64_t seed, const std::string& cells, const Drive* drive);

/// The same drive in `share` of the time: where the wheel alone is asked, a few hundred revolutions tell it.
void shorten(double share, kurbel::simulate::Scenario& scenario);

}  // namespace kurbel_discovery
