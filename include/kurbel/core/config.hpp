// Plain descriptions of engine, wheel, cam, timer and settings, and the one check that they make sense.
#pragma once

#include <array>
#include <cstdint>

#include "kurbel/core/status.hpp"
#include "kurbel/core/types.hpp"

namespace kurbel {

// A small target that knows its wheel defines this before it includes kurbel's headers, and saves 70 bytes of state for each
// tooth that it does not need. The compiled library has room for every wheel.
#if !defined(KURBEL_TEETH_ROOM)
#define KURBEL_TEETH_ROOM 400
#elif defined(KURBEL_COMPILED)
#error "KURBEL_TEETH_ROOM is for the headers alone; the compiled library was built with its own"
#endif
// The same for the engine cycles at the start that are looked at together before any is judged: fewer than 8 save 10 KiB and find
// less in the first seconds.
#if !defined(KURBEL_FIRST_CYCLES)
#define KURBEL_FIRST_CYCLES 8
#elif defined(KURBEL_COMPILED)
#error "KURBEL_FIRST_CYCLES is for the headers alone; the compiled library was built with its own"
#endif
#define KURBEL_TEXT_OF(number) #number
#define KURBEL_TEXT(number) KURBEL_TEXT_OF(number)

inline constexpr int kMaxTeeth = KURBEL_TEETH_ROOM;  ///< places of the crank wheel in one revolution
/// Engine cycles that wait at the start, to be looked at together before any is judged.
inline constexpr int kFirstCycles = KURBEL_FIRST_CYCLES;
static_assert(kFirstCycles >= 4 && kFirstCycles <= 8);
inline constexpr int kMaxCamEdges = 32;  ///< cam edges in one engine cycle

/// Where the crank sensor sits; decides how crank torsion shows in the signal.
enum class SensorAt : std::uint8_t { unknown = 0, front = 1, flywheel = 2 };

/// The engine as [engine] of recording.toml tells it. Unknown numbers are NaN, unknown lists are all zero.
struct EngineConfig {
    int strokes = 4;                                     ///< 4, or 2 (one firing per cylinder and revolution)
    int cylinders = 0;                                   ///< 1 to kMaxCylinders
    std::array<int, kMaxCylinders> firing_order{};       ///< cylinder numbers, starts with 1
    std::array<double, kMaxCylinders> firing_tdc_deg{};  ///< crank degrees, in firing order, starts with 0, rising
    double bore_mm = kUnknown;
    double stroke_mm = kUnknown;
    double rod_mm = kUnknown;
    double compression_ratio = kUnknown;
    double reciprocating_kg = kUnknown;  ///< per cylinder
    double inertia_kg_m2 = kUnknown;     ///< rotating, crank to clutch
    std::array<int, kMaxCylinders>
        throw_number{};  ///< crank pin of each cylinder by cylinder number, from the front, 1-based; CrankPins: where it is not told
    std::array<int, kMaxCylinders> bank{};  ///< by cylinder number

    /// Crank degrees of one engine cycle: 720 or 360.
    [[nodiscard]] constexpr double cycle_deg() const noexcept { return strokes == 2 ? 360.0 : 720.0; }
};

/// The crank trigger wheel. Evenly spaced wheels and wheels with listed teeth share one form: the angle of each tooth.
struct WheelConfig {
    int positions = 0;                         ///< evenly spaced places; 0 where the teeth are listed
    int teeth = 0;                             ///< teeth really there
    std::array<float, kMaxTeeth> angle_deg{};  ///< crank degrees of each tooth from place 0, rising, 0 to 360
    double tdc1_deg = 0.0;                     ///< crank degrees from place 0's edge to cylinder 1's TDC, 0 to 360
    SensorAt at = SensorAt::unknown;
};

/// Where the teeth of one wheel really stand, as learned from it (stage/pitch_correction.hpp). Errors add to
/// WheelConfig::angle_deg; their mean is 0, because a wheel that is turned as a whole is a matter of tdc1_deg.
struct WheelErrors {
    int teeth = 0;                             ///< as the wheel's, or 0: none are known
    float rms_se_deg = 0.0F;                   ///< their standard error, root of the mean square over the teeth
    std::array<float, kMaxTeeth> error_deg{};  ///< how much farther on each tooth stands, crank degrees
};

/// The cam wheel; `edges` = 0 means that there is none.
struct CamConfig {
    int edges = 0;
    std::array<double, kMaxCamEdges> edge_deg{};  ///< crank degrees after cylinder 1's firing TDC, rising, 0 to 720
};

/// The timer behind the ticks.
struct TimerConfig {
    double hz = 1.0e9;  ///< ticks a second
    int bits = 0;       ///< width of the wrapping counter, 8 to 62; 0 = ticks never wrap
};

/// How firings are judged.
enum class Method : std::uint8_t {
    work = 0,              ///< energy balance with learned pattern: the default
    segment_roughness = 1  ///< the published classic: differences of segment periods over the cubed period
};

struct Settings {
    Method method = Method::work;
    double false_alarm = 2.0e-5;  ///< accepted chance that a healthy firing is called a misfire, 1e-9 to 0.1
};

/// All that a Detector needs to know.
struct Config {
    EngineConfig engine{};
    WheelConfig crank_wheel{};
    WheelErrors wheel_errors{};
    CamConfig cam_wheel{};
    TimerConfig timer{};
    Settings settings{};
};

/// Fills `wheel` with `positions` even places less the absent ones (0-based, `absent_count` of them).
[[nodiscard]] Status make_even_wheel(int positions, const int* absent, int absent_count, WheelConfig& wheel) noexcept;

/// Sets evenly spaced firing TDCs.
void make_even_firing(EngineConfig& engine) noexcept;

/// Says whether a Detector can be made of this; names the parameter that is wrong.
[[nodiscard]] Status validate(const EngineConfig& engine) noexcept;
[[nodiscard]] Status validate(const WheelConfig& wheel) noexcept;
[[nodiscard]] Status validate(const WheelErrors& errors, const WheelConfig& wheel) noexcept;
[[nodiscard]] Status validate(const CamConfig& cam, const EngineConfig& engine) noexcept;
[[nodiscard]] Status validate(const TimerConfig& timer) noexcept;
[[nodiscard]] Status validate(const Settings& settings) noexcept;
[[nodiscard]] Status validate(const Config& config) noexcept;

// ---------------------------------------------------------------------------------------------------------------

inline Status make_even_wheel(int positions, const int* absent, int absent_count, WheelConfig& wheel) noexcept {
    if (positions < 1 || positions > kMaxTeeth)
        return {StatusCode::bad_wheel, "crank_wheel.positions", "must lie in 1 to 400"};
    std::array<bool, kMaxTeeth> gone{};
    for (int i = 0; i < absent_count; ++i) {
        if (absent[i] < 0 || absent[i] >= positions)
            return {StatusCode::bad_wheel, "crank_wheel.absent", "each place must lie in 0 to positions - 1"};
        if (gone[static_cast<std::size_t>(absent[i])])
            return {StatusCode::bad_wheel, "crank_wheel.absent", "a place is named twice"};
        gone[static_cast<std::size_t>(absent[i])] = true;
    }
    wheel.positions = positions;
    wheel.teeth = 0;
    for (int place = 0; place < positions; ++place)
        if (!gone[static_cast<std::size_t>(place)])
            wheel.angle_deg[static_cast<std::size_t>(wheel.teeth++)] = static_cast<float>(place * 360.0 / positions);
    return validate(wheel);
}

inline void make_even_firing(EngineConfig& engine) noexcept {
    for (int i = 0; i < engine.cylinders && i < kMaxCylinders; ++i)
        engine.firing_tdc_deg[static_cast<std::size_t>(i)] = i * engine.cycle_deg() / engine.cylinders;
}

namespace detail {

/// A number that is either unknown (NaN) or in [low, high].
[[nodiscard]] constexpr bool unknown_or_within(double value, double low, double high) noexcept {
    return value != value || (value >= low && value <= high);
}

}  // namespace detail

inline Status validate(const EngineConfig& engine) noexcept {
    using detail::unknown_or_within;
    const auto bad = [](const char* parameter, const char* why) {
        return Status{StatusCode::bad_engine, parameter, why};
    };
    if (engine.strokes != 2 && engine.strokes != 4) return bad("engine.strokes", "must be 2 or 4");
    if (engine.cylinders < 1 || engine.cylinders > kMaxCylinders) return bad("engine.cylinders", "must lie in 1 to 16");
    std::array<bool, kMaxCylinders + 1> seen{};
    for (int i = 0; i < engine.cylinders; ++i) {
        const int cylinder = engine.firing_order[static_cast<std::size_t>(i)];
        if (cylinder < 1 || cylinder > engine.cylinders)
            return bad("engine.firing_order", "each entry must lie in 1 to cylinders");
        if (seen[static_cast<std::size_t>(cylinder)]) return bad("engine.firing_order", "a cylinder is named twice");
        seen[static_cast<std::size_t>(cylinder)] = true;
    }
    if (engine.firing_order[0] != 1) return bad("engine.firing_order", "must start with cylinder 1");
    if (engine.firing_tdc_deg[0] != 0.0) return bad("engine.firing_tdc_deg", "must start with 0");
    for (int i = 1; i < engine.cylinders; ++i) {
        const double step =
            engine.firing_tdc_deg[static_cast<std::size_t>(i)] - engine.firing_tdc_deg[static_cast<std::size_t>(i - 1)];
        if (!(step >= 10.0)) return bad("engine.firing_tdc_deg", "must rise by at least 10 degrees");
    }
    const double last = engine.firing_tdc_deg[static_cast<std::size_t>(engine.cylinders - 1)];
    if (!(last <= engine.cycle_deg() - 10.0))
        return bad("engine.firing_tdc_deg", "must end 10 degrees before the cycle does");
    if (!unknown_or_within(engine.bore_mm, 10.0, 1200.0)) return bad("engine.bore_mm", "must lie in 10 to 1200");
    if (!unknown_or_within(engine.stroke_mm, 10.0, 4000.0)) return bad("engine.stroke_mm", "must lie in 10 to 4000");
    if (!unknown_or_within(engine.rod_mm, 15.0, 8000.0)) return bad("engine.rod_mm", "must lie in 15 to 8000");
    if (engine.rod_mm <= 0.5 * engine.stroke_mm) return bad("engine.rod_mm", "must exceed half of the stroke");
    if (!unknown_or_within(engine.compression_ratio, 3.0, 40.0))
        return bad("engine.compression_ratio", "must lie in 3 to 40");
    if (!unknown_or_within(engine.reciprocating_kg, 1e-3, 1e4))
        return bad("engine.reciprocating_kg", "must lie in 0.001 to 10000");
    if (!unknown_or_within(engine.inertia_kg_m2, 1e-5, 1e6))
        return bad("engine.inertia_kg_m2", "must lie in 0.00001 to 1000000");
    for (int i = 0; i < engine.cylinders; ++i) {
        const int pin = engine.throw_number[static_cast<std::size_t>(i)];
        if (pin < 0 || pin > engine.cylinders) return bad("engine.throw", "each entry must lie in 1 to cylinders");
        if (engine.bank[static_cast<std::size_t>(i)] < 0) return bad("engine.bank", "must not be negative");
    }
    return {};
}

inline Status validate(const WheelConfig& wheel) noexcept {
    const auto bad = [](const char* parameter, const char* why) {
        return Status{StatusCode::bad_wheel, parameter, why};
    };
    if (wheel.teeth < 1 || wheel.teeth > kMaxTeeth)
        return bad("crank_wheel", "must have 1 to " KURBEL_TEXT(KURBEL_TEETH_ROOM) " teeth");
    if (!(wheel.angle_deg[0] >= 0.0F)) return bad("crank_wheel.tooth_angles_deg", "must lie in 0 to 360");
    for (int i = 1; i < wheel.teeth; ++i)
        if (!(wheel.angle_deg[static_cast<std::size_t>(i)] - wheel.angle_deg[static_cast<std::size_t>(i - 1)] >= 0.2F))
            return bad("crank_wheel.tooth_angles_deg", "must rise by at least 0.2 degrees");
    if (!(wheel.angle_deg[static_cast<std::size_t>(wheel.teeth - 1)] < 360.0F))
        return bad("crank_wheel.tooth_angles_deg", "must lie below 360");
    if (!(wheel.tdc1_deg >= 0.0 && wheel.tdc1_deg <= 360.0)) return bad("crank_wheel.tdc1_deg", "must lie in 0 to 360");
    return {};
}

inline Status validate(const WheelErrors& errors, const WheelConfig& wheel) noexcept {
    const auto bad = [](const char* why) { return Status{StatusCode::bad_wheel, "wheel_errors", why}; };
    if (errors.teeth == 0) return {};
    if (errors.teeth != wheel.teeth) return bad("are of a wheel with another number of teeth");
    if (!(errors.rms_se_deg >= 0.0F && errors.rms_se_deg <= 360.0F))
        return bad("must have a standard error of 0 to 360 degrees");
    for (int i = 0; i < errors.teeth; ++i) {
        const auto here = static_cast<std::size_t>(i);
        const auto after = static_cast<std::size_t>(i + 1 < errors.teeth ? i + 1 : 0);
        float space = wheel.angle_deg[after] - wheel.angle_deg[here];
        if (after == 0) space += 360.0F;
        if (!(space + errors.error_deg[after] - errors.error_deg[here] > 0.1F))
            return bad("must leave 0.1 degrees between two teeth");
    }
    return {};
}

inline Status validate(const CamConfig& cam, const EngineConfig& engine) noexcept {
    const auto bad = [](const char* why) { return Status{StatusCode::bad_wheel, "cam_wheel.edges_deg", why}; };
    if (cam.edges < 0 || cam.edges > kMaxCamEdges) return bad("must have at most 32 edges");
    for (int i = 0; i < cam.edges; ++i) {
        const double angle = cam.edge_deg[static_cast<std::size_t>(i)];
        if (!(angle >= 0.0 && angle < engine.cycle_deg())) return bad("must lie within the engine cycle");
        if (i > 0 && !(angle > cam.edge_deg[static_cast<std::size_t>(i - 1)])) return bad("must rise");
    }
    return {};
}

inline Status validate(const TimerConfig& timer) noexcept {
    if (!(timer.hz >= 1e3 && timer.hz <= 1e12)) return {StatusCode::bad_timer, "timer.hz", "must lie in 1e3 to 1e12"};
    if (timer.bits != 0 && (timer.bits < 8 || timer.bits > 62))
        return {StatusCode::bad_timer, "timer.bits", "must lie in 8 to 62"};
    return {};
}

inline Status validate(const Settings& settings) noexcept {
    if (settings.method != Method::work && settings.method != Method::segment_roughness)
        return {StatusCode::bad_settings, "settings.method", "is not known"};
    if (!(settings.false_alarm >= 1e-9 && settings.false_alarm <= 0.1))
        return {StatusCode::bad_settings, "settings.false_alarm", "must lie in 1e-9 to 0.1"};
    return {};
}

inline Status validate(const Config& config) noexcept {
    if (Status status = validate(config.engine); !status) return status;
    if (Status status = validate(config.crank_wheel); !status) return status;
    if (Status status = validate(config.wheel_errors, config.crank_wheel); !status) return status;
    if (Status status = validate(config.cam_wheel, config.engine); !status) return status;
    if (Status status = validate(config.timer); !status) return status;
    if (Status status = validate(config.settings); !status) return status;
    if (config.cam_wheel.edges == 0 && config.crank_wheel.teeth == config.crank_wheel.positions &&
        config.crank_wheel.positions > 1)
        return {StatusCode::bad_wheel, "crank_wheel.absent", "a wheel without a gap needs a cam signal"};
    return {};
}

}  // namespace kurbel
