// How the library says that something could not be done, without exceptions and without allocating.
#pragma once

#include <cstdint>

namespace kurbel {

/// Status codes: 0 is success, negative an error, positive information. Values are pinned and never reused.
enum class StatusCode : std::int32_t {
    ok = 0,
    queue_full = 10,  ///< nothing was consumed: take events with next_event(), then push again
    bad_argument = -10,
    bad_engine = -20,  ///< the engine cannot exist, or exceeds the library's limits
    bad_wheel = -30,
    bad_timer = -40,
    bad_settings = -50,
    bad_order = -60,  ///< call not allowed now, for example push after finish
    out_of_memory = -70,
    bad_input = -80,  ///< a file, folder or snapshot that cannot be used
    internal = -90
};

/// Text for a code; total: any integer, also an unknown one, gives a non-null ASCII sentence.
[[nodiscard]] constexpr const char* status_message(std::int32_t code) noexcept {
    switch (static_cast<StatusCode>(code)) {
        case StatusCode::ok: return "done";
        case StatusCode::queue_full: return "the event queue is full; take events, then push again";
        case StatusCode::bad_argument: return "an argument is NULL, too small, unknown or outside its range";
        case StatusCode::bad_engine: return "the engine description is impossible or exceeds the limits";
        case StatusCode::bad_wheel: return "the wheel description is impossible or exceeds the limits";
        case StatusCode::bad_timer: return "the timer description is impossible";
        case StatusCode::bad_settings: return "a setting is outside its range";
        case StatusCode::bad_order: return "this call is not allowed in the present state";
        case StatusCode::out_of_memory: return "memory could not be had";
        case StatusCode::bad_input: return "the file, folder or snapshot cannot be used";
        case StatusCode::internal: return "an internal rule was broken; please report this";
    }
    return "unknown status code";
}

/// Outcome of a call that returns nothing else. `parameter` names what was wrong ("engine.firing_order"),
/// `why` says it in one line; both are static strings, never null.
struct [[nodiscard]] Status {
    StatusCode code = StatusCode::ok;
    const char* parameter = "";
    const char* why = "";

    [[nodiscard]] constexpr bool ok() const noexcept { return code == StatusCode::ok; }
    constexpr explicit operator bool() const noexcept { return ok(); }
};

/// Value or Status. `value` is meaningful only where `status.ok()`.
template <class T>
struct [[nodiscard]] Result {
    T value{};
    Status status{};

    [[nodiscard]] constexpr bool ok() const noexcept { return status.ok(); }
    constexpr explicit operator bool() const noexcept { return ok(); }
};

}  // namespace kurbel
