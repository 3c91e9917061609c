// kurbel.h: what needs no handle. Version, messages, names and configuration.
#include "c_api/convert.hpp"
#include "kurbel/core/version.hpp"

using kurbel::c_api::code;

namespace {

// Bytes of a larger, newer struct that this library does not know are zeroed, so that they read as "not set".
void write_config(const kurbel_config& ours, kurbel_config* theirs, std::size_t their_size) noexcept {
    if (their_size > sizeof ours) std::memset(theirs, 0, their_size);
    theirs->struct_size = static_cast<std::uint32_t>(their_size);
    kurbel::c_api::write_out(ours, theirs);
}

}  // namespace

const char* kurbel_version(void) { return KURBEL_VERSION_STRING; }

int32_t kurbel_version_number(void) {
    return KURBEL_VERSION_MAJOR * 10000 + KURBEL_VERSION_MINOR * 100 + KURBEL_VERSION_PATCH;
}

const char* kurbel_status_message(int32_t status_code) {
    if (status_code == KURBEL_EVENT) return "an event was written";
    return kurbel::status_message(status_code);
}

const char* kurbel_verdict_name(int32_t verdict) {
    if (verdict < KURBEL_FIRED || verdict > KURBEL_UNJUDGED) return "?";
    return name(static_cast<kurbel::Verdict>(verdict));
}

const char* kurbel_reason_name(int32_t reason) {
    if (reason < KURBEL_REASON_NONE || reason > KURBEL_REASON_LEARNING) return "?";
    return name(static_cast<kurbel::Reason>(reason));
}

const char* kurbel_phase_name(int32_t phase) {
    if (phase < KURBEL_PHASE_UNKNOWN || phase > KURBEL_PHASE_NOT_NEEDED) return "?";
    return name(static_cast<kurbel::Phase>(phase));
}

int32_t kurbel_config_default(kurbel_config* config, size_t struct_size) {
    if (config == nullptr || struct_size < kurbel::c_api::kFirstConfigSize || struct_size > UINT32_MAX)
        return KURBEL_BAD_ARGUMENT;
    write_config(kurbel::c_api::to_c(kurbel::Config{}), config, struct_size);
    return KURBEL_OK;
}

int32_t kurbel_config_even_wheel(kurbel_config* config, int32_t positions, const int32_t* absent,
                                 int32_t absent_count) {
    if (config == nullptr || config->struct_size < kurbel::c_api::kFirstConfigSize) return KURBEL_BAD_ARGUMENT;
    if (absent_count < 0 || (absent == nullptr && absent_count > 0)) return KURBEL_BAD_ARGUMENT;
    kurbel::WheelConfig wheel;
    if (const kurbel::Status status = make_even_wheel(positions, absent, absent_count, wheel); !status)
        return code(status);
    config->wheel_positions = wheel.positions;
    config->wheel_teeth = wheel.teeth;
    for (std::size_t i = 0; i < KURBEL_MAX_TEETH; ++i)
        config->tooth_angle_deg[i] = static_cast<double>(wheel.angle_deg[i]);
    return KURBEL_OK;
}

int32_t kurbel_config_even_firing(kurbel_config* config) {
    if (config == nullptr || config->struct_size < kurbel::c_api::kFirstConfigSize) return KURBEL_BAD_ARGUMENT;
    if (config->cylinders < 1 || config->cylinders > KURBEL_MAX_CYLINDERS) return KURBEL_BAD_ENGINE;
    if (config->strokes != 2 && config->strokes != 4) return KURBEL_BAD_ENGINE;
    kurbel::EngineConfig engine;
    engine.strokes = config->strokes;
    engine.cylinders = config->cylinders;
    make_even_firing(engine);
    std::copy(engine.firing_tdc_deg.begin(), engine.firing_tdc_deg.end(), config->firing_tdc_deg);
    return KURBEL_OK;
}

int32_t kurbel_config_check(const kurbel_config* config, char* text, size_t text_size) {
    kurbel::Config ours;
    kurbel::Status status = kurbel::c_api::to_cpp(config, ours);
    if (status.ok()) status = validate(ours);
    kurbel::c_api::write_text(status, text, text_size);
    return code(status);
}
