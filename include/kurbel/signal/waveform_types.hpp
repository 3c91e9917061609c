// What goes into and comes out of a sensor's waveform: settings, edges, and what was found of sensor and wiring.
#pragma once

#include <array>
#include <cstdint>

#include "kurbel/core/status.hpp"
#include "kurbel/core/types.hpp"

namespace kurbel::signal {

/// How a sensor tells of a tooth.
enum class SensorKind : std::uint8_t {
    automatic = 0,  ///< to be found out
    inductive = 1,  ///< a coil: the voltage crosses zero at the tooth, and its height follows the speed
    digital = 2     ///< two levels (Hall, optical, a comparator's output)
};

/// Which of the two crossings of a tooth is its edge.
enum class Flank : std::uint8_t { automatic = 0, falling = 1, rising = 2 };

/// What is told beforehand. Everything that is left alone is found out.
struct WaveformSettings {
    double rate_hz = 0.0;         ///< samples a second, 1e2 to 1e9
    double tick_hz = 1e9;         ///< clock of the edges, 1e3 to 1e12
    std::int64_t first_tick = 0;  ///< tick of sample 0
    double scale = 1.0;           ///< multiplies every sample; volts a count for integers
    double least_swing = 0.0;     ///< after `scale`: swings below this, peak to peak, are no tooth
    SensorKind kind = SensorKind::automatic;
    Flank flank = Flank::automatic;
};

[[nodiscard]] inline Status validate(const WaveformSettings& settings) noexcept {
    const auto bad = [](const char* parameter, const char* why) {
        return Status{StatusCode::bad_settings, parameter, why};
    };
    if (!(settings.rate_hz >= 1e2 && settings.rate_hz <= 1e9)) return bad("rate_hz", "must lie in 1e2 to 1e9");
    if (!(settings.tick_hz >= 1e3 && settings.tick_hz <= 1e12)) return bad("tick_hz", "must lie in 1e3 to 1e12");
    if (!(settings.scale > -1e30 && settings.scale < 1e30) || settings.scale == 0.0)
        return bad("scale", "must be a number other than 0");
    if (!(settings.least_swing >= 0.0 && settings.least_swing < 1e30))
        return bad("least_swing", "must not be negative");
    if (static_cast<int>(settings.kind) > 2) return bad("kind", "is not known");
    if (static_cast<int>(settings.flank) > 2) return bad("flank", "is not known");
    return {};
}

/// One edge of a tooth.
struct WaveformEdge {
    std::int64_t tick = 0;  ///< rounded to the clock of WaveformSettings::tick_hz
    double time_s = 0.0;    ///< after sample 0
    float std_error_s =
        0.0F;  ///< standard error of the time by the noise around this slope; systematic errors are not in it
    float quality =
        0.0F;  ///< 0 to 1: how high the half-wave stands over what is needed, and how well a smooth slope fits
    float swing = 0.0F;        ///< from the extreme before the edge to the one after it, as far as that was seen
    float slope_per_s = 0.0F;  ///< steepness at the edge, negative where it falls
    Flank flank = Flank::automatic;
};

/// What looks wrong, one bit each.
enum class Finding : std::uint32_t {
    no_signal = 1U << 0,      ///< nothing but noise: standing engine, open wire, wrong channel
    clipped = 1U << 1,        ///< the range is too small, or a clamp cuts the waves
    too_small = 1U << 2,      ///< the swing spans few steps of the converter: a smaller range would do
    noisy = 1U << 3,          ///< the noise moves edges by more than a thousandth of a tooth
    hum = 1U << 4,            ///< mains hum was found (and taken off)
    inverted = 1U << 5,       ///< the told flank is the shallow one: the wires are swapped, or the other flank is meant
    kind_mistaken = 1U << 6,  ///< the waveform looks like the other kind of sensor than told
    undersampled = 1U << 7,   ///< fewer than five samples a tooth
    dropouts = 1U << 8,       ///< the signal vanished and came back
    drift = 1U << 9,          ///< the middle of the waves wanders
    bad_samples = 1U << 10,   ///< samples that are no numbers
    channels_swapped = 1U << 11  ///< crank and cam are exchanged; set by compare() alone
};

inline constexpr int kFindings = 12;

/// What was found so far. Unknown numbers are NaN.
struct WaveformReport {
    std::int64_t samples = 0;
    std::int64_t bad_samples = 0;
    std::int64_t edges = 0;  ///< given out
    std::int64_t dropouts = 0;
    SensorKind kind = SensorKind::automatic;  ///< automatic: nothing was found
    Flank flank = Flank::automatic;
    bool flank_sure = false;          ///< the other flank is clearly shallower; false: told, or both are alike
    double swing = kUnknown;          ///< typical, peak to peak
    double middle = kUnknown;         ///< level of the edges
    double noise = kUnknown;          ///< standard deviation of one sample
    double snr_db = kUnknown;         ///< power of the waves over that of the noise
    double tooth_hz = kUnknown;       ///< typical edges a second
    double slope_samples = kUnknown;  ///< samples between the half heights around an edge
    double hum = 0.0;                 ///< amplitude of the mains hum that was taken off
    double hum_hz = kUnknown;
    double clipped_share = 0.0;  ///< share of the waves that end flat at the range's end
    double steps = kUnknown;     ///< converter steps in a swing
    std::uint32_t findings = 0;  ///< bits of Finding

    constexpr void add(Finding finding) noexcept { findings |= static_cast<std::uint32_t>(finding); }
    [[nodiscard]] constexpr bool has(Finding finding) const noexcept {
        return (findings & static_cast<std::uint32_t>(finding)) != 0U;
    }
};

/// Whether crank and cam are exchanged, by the edges of either: in the same time a crank wheel passes more teeth than a cam, whatever
/// the engine. Twice as many and not only a few, since a wheel of two vanes passes four in a cycle and a cam may pass some more.
[[nodiscard]] constexpr bool channels_swapped(std::int64_t crank_edges, std::int64_t cam_edges) noexcept {
    return crank_edges > 8 && cam_edges > 2 * crank_edges;
}

/// Sets channels_swapped in both reports where it is so; reports of one capture from its first sample to its last.
constexpr void compare(WaveformReport& crank, WaveformReport& cam) noexcept {
    const auto bit = static_cast<std::uint32_t>(Finding::channels_swapped);
    const bool swapped = channels_swapped(crank.edges, cam.edges);
    crank.findings = swapped ? crank.findings | bit : crank.findings & ~bit;
    cam.findings = swapped ? cam.findings | bit : cam.findings & ~bit;
}

[[nodiscard]] constexpr const char* name(SensorKind kind) noexcept {
    constexpr std::array<const char*, 3> names{"unknown", "inductive", "digital"};
    return names[static_cast<std::size_t>(kind) % names.size()];
}

[[nodiscard]] constexpr const char* name(Flank flank) noexcept {
    constexpr std::array<const char*, 3> names{"unknown", "falling", "rising"};
    return names[static_cast<std::size_t>(flank) % names.size()];
}

/// A word for finding number `bit` (0 to kFindings - 1), "?" beyond.
[[nodiscard]] constexpr const char* finding_name(int bit) noexcept {
    constexpr std::array<const char*, kFindings> names{"no_signal", "clipped",  "too_small",     "noisy",
                                                       "hum",       "inverted", "kind_mistaken", "undersampled",
                                                       "dropouts",  "drift",    "bad_samples",   "channels_swapped"};
    return bit >= 0 && bit < kFindings ? names[static_cast<std::size_t>(bit)] : "?";
}

/// What to look at, for a person; "" beyond the last bit.
[[nodiscard]] constexpr const char* finding_advice(int bit) noexcept {
    constexpr std::array<const char*, kFindings> texts{
        "no tooth was seen, only noise: the engine stood still, the lead is open, it was sampled too slowly, or it is "
        "another channel",
        "the waves end flat: choose a larger input range, or a probe that divides",
        "the waves span few steps of the converter: choose a smaller input range",
        "noise moves the edges: look at shield, ground and the routing of the lead beside ignition leads",
        "mains hum lies under the signal and was taken off: look at ground loops; run the recorder from a battery",
        "the chosen flank is the shallow one between the teeth: swap the two wires, or choose the other flank",
        "the waveform looks like the other kind of sensor than was told",
        "there are fewer than five samples a tooth: record with a higher sampling rate",
        "the signal vanished and came back: look at plugs and leads, and at the air gap",
        "the middle of the waves wanders: look at the coupling of the input and at ground",
        "some samples are no numbers; each was replaced by the one before",
        "crank and cam seem to be exchanged"};
    return bit >= 0 && bit < kFindings ? texts[static_cast<std::size_t>(bit)] : "";
}

}  // namespace kurbel::signal
