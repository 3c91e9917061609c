// The small value types that flow from stage to stage.
#pragma once

#include <array>
#include <cstdint>
#include <limits>

namespace kurbel {

inline constexpr int kMaxCylinders = 16;

/// "Unknown" for numbers; leaves as an empty CSV field and as null in JSON.
inline constexpr double kUnknown = std::numeric_limits<double>::quiet_NaN();

/// What an edge was seen on.
enum class Signal : std::uint8_t { crank = 0, cam = 1 };

/// A measured quantity beside the edges; a value holds from its tick until the next one.
enum class Channel : std::uint8_t {
    load = 0,           ///< relative cylinder charge, 0 to 1 of full, above 1 with boost; of a diesel its fuel
    fuel_cut = 1,       ///< 0 or 1, all cylinders
    coolant_c = 2,      ///< degrees Celsius
    vehicle_kmh = 3,    ///< vehicle speed
    fuel_cut_first = 8  ///< fuel_cut_first + (N - 1): cylinder N alone
};

/// The channel that tells a fuel cut of cylinder `cylinder` (1-based) alone.
[[nodiscard]] constexpr Channel fuel_cut_channel(int cylinder) noexcept {
    return static_cast<Channel>(static_cast<int>(Channel::fuel_cut_first) + cylinder - 1);
}

/// What the Decoder says of the 720-degree phase.
enum class Phase : std::uint8_t {
    unknown = 0,    ///< which of two revolutions this is, is not known (yet)
    cam = 1,        ///< told by the cam signal
    crank = 2,      ///< told by the crank's own motion
    not_needed = 3  ///< two-stroke: one revolution is one cycle
};

/// One tooth of the crank wheel passed the sensor.
struct Tooth {
    std::int64_t tick = 0;        ///< unwrapped timer ticks
    std::int64_t revolution = 0;  ///< crank revolutions since the stream began to be synchronised; never falls
    std::int32_t index = 0;       ///< which of the wheel's teeth, 0 = first; see WheelConfig::angle_deg
    std::uint8_t half = 0;     ///< which revolution of the engine cycle, 0 holds place 0 next before ... ; see Decoder
    bool restart = false;      ///< first tooth after a loss: nothing before it is connected to it
    bool phase_known = false;  ///< `half` is the true one; else it only alternates
};

/// Counters of what the Decoder met.
struct SyncState {
    std::int64_t edges = 0;        ///< crank and cam edges pushed
    std::int64_t teeth = 0;        ///< teeth given out
    std::int64_t revolutions = 0;  ///< whole revolutions while synchronised
    std::int64_t losses = 0;       ///< times that synchronism was lost
    std::int64_t extra = 0;        ///< edges that are no tooth
    std::int64_t missed = 0;       ///< teeth without an edge
    std::int64_t faults = 0;       ///< edges dropped: time stood still or ran backwards
    bool synchronised = false;
    Phase phase = Phase::unknown;
};

enum class Verdict : std::uint8_t { fired = 0, misfire = 1, unjudged = 2 };

/// Why a firing is unjudged.
enum class Reason : std::uint8_t {
    none = 0,
    no_sync,
    no_phase,
    cranking,
    fuel_cut,
    low_torque,
    rough_road,
    transient,
    learning
};

[[nodiscard]] constexpr const char* name(Verdict verdict) noexcept {
    constexpr std::array<const char*, 3> names{"fired", "misfire", "unjudged"};
    return names[static_cast<std::size_t>(verdict) % names.size()];
}

[[nodiscard]] constexpr const char* name(Reason reason) noexcept {
    constexpr std::array<const char*, 9> names{"",           "no_sync",    "no_phase",  "cranking", "fuel_cut",
                                               "low_torque", "rough_road", "transient", "learning"};
    return names[static_cast<std::size_t>(reason) % names.size()];
}

[[nodiscard]] constexpr const char* name(Phase phase) noexcept {
    constexpr std::array<const char*, 4> names{"unknown", "cam", "crank", "not_needed"};
    return names[static_cast<std::size_t>(phase) % names.size()];
}

/// One firing, judged. Unknown numbers are NaN. Columns of events.csv in the same order.
struct Event {
    double time_s = kUnknown;                  ///< firing TDC on the recording's clock
    std::int64_t cycle = 0;                    ///< engine cycles since the first synchronised one
    std::int32_t cylinder = 0;                 ///< 1-based; 0 while the phase is unknown
    std::array<std::int32_t, 2> candidates{};  ///< possible cylinders where `cylinder` is 0; unused places 0
    double speed_rpm = kUnknown;               ///< mean over the engine cycle around the firing
    double load = kUnknown;                    ///< relative charge at this firing's intake closing
    double acceleration_rad_s2 = kUnknown;     ///< mean over the firing interval, inertia torque removed
    double work_j = kUnknown;                  ///< indicated work, where inertia is known
    double work_se_j = kUnknown;               ///< its standard error
    double expected_j = kUnknown;              ///< what a healthy firing does at this speed and load
    double work_per_inertia = kUnknown;        ///< as work_j, in rad^2/s^2 (work over inertia)
    double work_se_per_inertia = kUnknown;     ///< as work_se_j
    double expected_per_inertia = kUnknown;    ///< as expected_j
    double severity = kUnknown;                ///< 1 - work / expected
    double evidence = kUnknown;                ///< decision statistic, in healthy standard deviations
    double threshold = kUnknown;               ///< its limit for this firing: beyond it a misfire is called
    /// Posterior that at least half of the expected work is missing, by a misfire or by a burn that was weak by nature: where combustion
    /// scatters much it may be high and the verdict "fired".
    double probability = kUnknown;
    Verdict verdict = Verdict::unjudged;
    Reason reason = Reason::none;
};

}  // namespace kurbel
