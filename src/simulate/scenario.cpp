#include "kurbel/simulate/scenario.hpp"

#include <algorithm>

#include "simulate/scenario_parts.hpp"

namespace kurbel::simulate {

namespace {

bool all_given(const EngineConfig& engine) noexcept {
    // NaN compares unequal to itself.
    const auto given = [](double value) { return value == value; };
    return given(engine.bore_mm) && given(engine.stroke_mm) && given(engine.rod_mm) &&
           given(engine.compression_ratio) && given(engine.reciprocating_kg) && given(engine.inertia_kg_m2);
}

}  // namespace

Status validate(const Scenario& s) noexcept {
    const auto bad = [](const char* parameter, const char* why) {
        return Status{StatusCode::bad_argument, parameter, why};
    };
    if (Status status = validate(s.engine); !status) return status;
    if (Status status = validate(s.crank_wheel); !status) return status;
    if (Status status = validate(s.cam_wheel, s.engine); !status) return status;
    if (Status status = validate(s.timer); !status) return status;
    if (!all_given(s.engine))
        return bad("engine", "needs bore_mm, stroke_mm, rod_mm, compression_ratio, reciprocating_kg and inertia_kg_m2");
    if (!(s.seconds > 0.0)) return bad("scenario.seconds", "must be positive");
    constexpr double kMostGlitches = 2e7;
    double glitches = 0.0;
    for (const Glitch& glitch : s.glitches)
        glitches += glitch.rate_hz * glitch.length *
                    std::max(0.0, std::min(glitch.to_s, s.seconds) - std::max(glitch.from_s, 0.0));
    if (!(glitches <= kMostGlitches)) return bad("glitch", "would make more than 20 million edges");
    if (!(s.crank.pulley_share + s.crank.throws_share < 0.97))
        return bad("crank.throws_share", "leaves nothing for the flywheel");
    if (!(s.gas_exchange.intake_closing_deg > -180.0 && s.gas_exchange.exhaust_opening_deg < 180.0))
        return bad("gas_exchange", "valves must close and open between the bottoms");
    if (s.operation.mode == Operation::hold && s.operation.load.empty() && s.manifold.throttle.empty())
        return bad("operation.load", "is needed in hold mode");
    if (s.operation.speed_rpm.empty()) return bad("operation.speed_rpm", "is missing");
    return validate_machine(s);
}

}  // namespace kurbel::simulate
