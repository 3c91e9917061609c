// What edges alone tell of wheel, cam and engine: a proposal for a person to confirm.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"

namespace kurbel::discover {

/// How far a finding may be trusted.
enum class Sureness : std::uint8_t {
    not_sure = 0,  ///< more than one answer fits; what stands in the finding is the best guess, if there is one
    likely = 1,    ///< one answer fits much better, but something that would settle it is missing
    sure = 2       ///< nothing else explains the edges
};

[[nodiscard]] const char* name(Sureness sureness) noexcept;

/// What every finding carries.
struct Finding {
    Sureness sureness = Sureness::not_sure;
    double confidence = 0.0;  ///< 0 to 1: chance that the answer is right, as far as the edges tell
    std::string why;          ///< one sentence: what it rests on
    std::string raise;        ///< what would make it surer; empty where nothing is needed
};

/// The crank wheel. Place 0 is the first tooth after the widest gap; among equal gaps, the one with most teeth before it.
struct WheelFinding : Finding {
    int teeth = 0;                     ///< edges a revolution; 0: not found
    int positions = 0;                 ///< even places a revolution; 0 where the teeth stand unevenly
    std::vector<int> absent;           ///< places without a tooth, rising
    std::vector<double> angle_deg;     ///< of each tooth from place 0: nominal where `positions` > 0, else as measured
    std::vector<double> measured_deg;  ///< of each tooth from place 0, mean over the revolutions that were whole
    double turns = 0.0;                ///< revolutions that were looked at
    double whole_share = 0.0;          ///< of them without a missed or false edge
    double misplaced_deg = kUnknown;   ///< largest distance of a measured tooth from its nominal angle

    [[nodiscard]] bool found() const noexcept { return teeth > 0; }
    [[nodiscard]] std::string name() const;  ///< "60-2", "36-2-1", "24 teeth without a gap", "4 teeth, unevenly spaced"
};

/// The second line of edges.
struct CamFinding : Finding {
    std::int64_t edges_seen = 0;
    bool tells_cycle = false;      ///< repeats every two revolutions: tells which of the two this is
    bool tells_turn = false;       ///< repeats every revolution: a reference on the crank
    std::vector<double> edge_deg;  ///< crank degrees after place 0 of the revolution that holds the first, 0 to 720
};

/// Number of firings a cycle and how they are spaced.
struct EngineFinding : Finding {
    int strokes = 0;                     ///< 4 or 2; 0: not told (see `why`)
    int cylinders = 0;                   ///< 0: not found
    bool even = true;                    ///< firings evenly spaced
    std::vector<double> firing_tdc_deg;  ///< of a cycle, from 0; rising
    std::string layout;                  ///< "even firing", "V6 firing 90-150" ...
};

/// Where firing TDCs lie.
struct TdcFinding : Finding {
    double deg = kUnknown;      ///< crank degrees from place 0's edge to a firing TDC, 0 to `period_deg`
    double low_deg = kUnknown;  ///< range of what is plausible; may reach beyond 0 to period_deg
    double high_deg = kUnknown;
    double period_deg = kUnknown;  ///< firings look alike after so many degrees: `deg` is known modulo this
    bool fuel_cut = false;         ///< seen without fuel, which tells it best
    [[nodiscard]] bool found() const noexcept { return deg == deg; }
};

/// One stretch between teeth, for the tooth-period plot: mean over whole revolutions.
struct ToothPeriod {
    double begin_deg = 0.0;  ///< from place 0
    double width_deg = 0.0;  ///< nominal
    double ratio = 1.0;      ///< period over what it would be if all edges were evenly spaced
    double spread = 0.0;     ///< standard deviation of ratio from revolution to revolution
};

struct Discovery {
    std::int64_t crank_edges = 0;
    bool channels_swapped =
        false;  ///< crank and cam are exchanged; all that is told is of the lines in their right places
    double seconds = 0.0;
    double lowest_rpm = kUnknown;  ///< 2 % and 98 % of the revolutions lie between the two
    double highest_rpm = kUnknown;
    WheelFinding wheel;
    CamFinding cam;
    EngineFinding engine;
    TdcFinding tdc;
    std::vector<ToothPeriod> periods;
    std::string next_step;  ///< one sentence
};

/// Edges in the caller's memory.
struct EdgeLines {
    const std::int64_t* tick = nullptr;    ///< as the timer gave them, in order of time
    const std::uint8_t* signal = nullptr;  ///< Signal of each edge; null: all of the crank
    std::size_t edges = 0;
    TimerConfig timer{};
    /// Stretches without fuel where they are known, from and to, in seconds on the unwrapped clock (tick / hz).
    std::vector<std::pair<double, double>> fuel_cut_s;
};

/// Looks at all edges; takes about a second for a million of them, allocates, throws std::bad_alloc and nothing else. Any input is
/// allowed: too few edges, noise or a standing engine give findings that say so. Thread-safe.
[[nodiscard]] Discovery discover(const EdgeLines& lines);

}  // namespace kurbel::discover
