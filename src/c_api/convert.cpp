#include "c_api/convert.hpp"

#include <cstdio>

namespace kurbel::c_api {
namespace {

// The C header repeats the numbers; if they ever part, this does not compile.
static_assert(KURBEL_MAX_CYLINDERS == kMaxCylinders && KURBEL_MAX_TEETH == kMaxTeeth);
static_assert(KURBEL_MAX_CAM_EDGES == kMaxCamEdges);
static_assert(KURBEL_OK == static_cast<int>(StatusCode::ok));
static_assert(KURBEL_QUEUE_FULL == static_cast<int>(StatusCode::queue_full));
static_assert(KURBEL_BAD_ARGUMENT == static_cast<int>(StatusCode::bad_argument));
static_assert(KURBEL_BAD_ENGINE == static_cast<int>(StatusCode::bad_engine));
static_assert(KURBEL_BAD_WHEEL == static_cast<int>(StatusCode::bad_wheel));
static_assert(KURBEL_BAD_TIMER == static_cast<int>(StatusCode::bad_timer));
static_assert(KURBEL_BAD_SETTINGS == static_cast<int>(StatusCode::bad_settings));
static_assert(KURBEL_BAD_ORDER == static_cast<int>(StatusCode::bad_order));
static_assert(KURBEL_OUT_OF_MEMORY == static_cast<int>(StatusCode::out_of_memory));
static_assert(KURBEL_BAD_INPUT == static_cast<int>(StatusCode::bad_input));
static_assert(KURBEL_INTERNAL == static_cast<int>(StatusCode::internal));
static_assert(KURBEL_CRANK == static_cast<int>(Signal::crank) && KURBEL_CAM == static_cast<int>(Signal::cam));
static_assert(KURBEL_LOAD == static_cast<int>(Channel::load) && KURBEL_FUEL_CUT == static_cast<int>(Channel::fuel_cut));
static_assert(KURBEL_COOLANT_C == static_cast<int>(Channel::coolant_c));
static_assert(KURBEL_VEHICLE_KMH == static_cast<int>(Channel::vehicle_kmh));
static_assert(KURBEL_FUEL_CUT_CYLINDER(3) == static_cast<int>(fuel_cut_channel(3)));
static_assert(KURBEL_AT_FLYWHEEL == static_cast<int>(SensorAt::flywheel));
static_assert(KURBEL_METHOD_SEGMENT_ROUGHNESS == static_cast<int>(Method::segment_roughness));
static_assert(KURBEL_UNJUDGED == static_cast<int>(Verdict::unjudged));
static_assert(KURBEL_REASON_LEARNING == static_cast<int>(Reason::learning));
static_assert(KURBEL_PHASE_NOT_NEEDED == static_cast<int>(Phase::not_needed));
// Programs compiled against the first version rely on these layouts, on 32-bit machines too: no hidden padding.
static_assert(offsetof(kurbel_config, tooth_error_deg) == kFirstConfigSize &&
              offsetof(kurbel_config, firing_tdc_deg) == 208);
static_assert(offsetof(kurbel_config, tooth_angle_deg) == 400 && offsetof(kurbel_config, method) == 3880);
static_assert(sizeof(kurbel_config) == kFirstConfigSize + 8 * KURBEL_MAX_TEETH + 16);
static_assert(sizeof(kurbel_event) == kFirstEventSize && offsetof(kurbel_event, cycle) == 24);
static_assert(sizeof(kurbel_sync) == kFirstSyncSize && offsetof(kurbel_sync, edges) == 16);

EngineConfig engine_of(const kurbel_config& c) noexcept {
    EngineConfig engine;
    engine.strokes = c.strokes;
    engine.cylinders = c.cylinders;
    std::copy_n(c.firing_order, kMaxCylinders, engine.firing_order.begin());
    std::copy_n(c.firing_tdc_deg, kMaxCylinders, engine.firing_tdc_deg.begin());
    engine.bore_mm = c.bore_mm;
    engine.stroke_mm = c.stroke_mm;
    engine.rod_mm = c.rod_mm;
    engine.compression_ratio = c.compression_ratio;
    engine.reciprocating_kg = c.reciprocating_kg;
    engine.inertia_kg_m2 = c.inertia_kg_m2;
    std::copy_n(c.throw_number, kMaxCylinders, engine.throw_number.begin());
    std::copy_n(c.bank, kMaxCylinders, engine.bank.begin());
    return engine;
}

WheelConfig wheel_of(const kurbel_config& c) noexcept {
    WheelConfig wheel;
    wheel.positions = c.wheel_positions;
    wheel.teeth = c.wheel_teeth;
    for (std::size_t i = 0; i < kMaxTeeth; ++i) wheel.angle_deg[i] = static_cast<float>(c.tooth_angle_deg[i]);
    wheel.tdc1_deg = c.tdc1_deg;
    wheel.at = static_cast<SensorAt>(c.sensor_at);
    return wheel;
}

WheelErrors errors_of(const kurbel_config& c) noexcept {
    WheelErrors errors;
    errors.teeth = c.wheel_error_teeth;
    errors.rms_se_deg = static_cast<float>(c.tooth_rms_se_deg);
    for (std::size_t i = 0; i < kMaxTeeth; ++i) errors.error_deg[i] = static_cast<float>(c.tooth_error_deg[i]);
    return errors;
}

void put_engine(const EngineConfig& engine, kurbel_config& c) noexcept {
    c.strokes = engine.strokes;
    c.cylinders = engine.cylinders;
    std::copy(engine.firing_order.begin(), engine.firing_order.end(), c.firing_order);
    std::copy(engine.firing_tdc_deg.begin(), engine.firing_tdc_deg.end(), c.firing_tdc_deg);
    c.bore_mm = engine.bore_mm;
    c.stroke_mm = engine.stroke_mm;
    c.rod_mm = engine.rod_mm;
    c.compression_ratio = engine.compression_ratio;
    c.reciprocating_kg = engine.reciprocating_kg;
    c.inertia_kg_m2 = engine.inertia_kg_m2;
    std::copy(engine.throw_number.begin(), engine.throw_number.end(), c.throw_number);
    std::copy(engine.bank.begin(), engine.bank.end(), c.bank);
}

}  // namespace

void write_text(const char* message, char* text, std::size_t text_size) noexcept {
    if (text == nullptr || text_size == 0) return;
    const std::size_t length = std::min(std::strlen(message), text_size - 1);
    std::memcpy(text, message, length);
    text[length] = '\0';
}

void write_text(const Status& status, char* text, std::size_t text_size) noexcept {
    if (status.ok()) return write_text("", text, text_size);
    if (*status.parameter == '\0')
        return write_text(*status.why ? status.why : status_message(code(status)), text, text_size);
    if (text == nullptr || text_size == 0) return;
    write_text(status.parameter, text, text_size);
    std::size_t used = std::strlen(text);
    write_text(": ", text + used, text_size - used);
    used = std::strlen(text);
    write_text(*status.why ? status.why : status_message(code(status)), text + used, text_size - used);
}

Status to_cpp(const kurbel_config* theirs, Config& ours) noexcept {
    if (theirs == nullptr) return {StatusCode::bad_argument, "config", "must not be NULL"};
    if (theirs->struct_size < kFirstConfigSize)
        return {StatusCode::bad_argument, "config.struct_size", "is too small; call kurbel_config_default first"};
    if (theirs->sensor_at < KURBEL_AT_UNKNOWN || theirs->sensor_at > KURBEL_AT_FLYWHEEL)
        return {StatusCode::bad_wheel, "crank_wheel.at", "is not known"};
    if (theirs->method < KURBEL_METHOD_WORK || theirs->method > KURBEL_METHOD_SEGMENT_ROUGHNESS)
        return {StatusCode::bad_settings, "settings.method", "is not known"};
    ours = {};
    ours.engine = engine_of(*theirs);
    ours.crank_wheel = wheel_of(*theirs);
    ours.cam_wheel.edges = theirs->cam_edges;
    std::copy_n(theirs->cam_edge_deg, kMaxCamEdges, ours.cam_wheel.edge_deg.begin());
    ours.timer.hz = theirs->timer_hz;
    ours.timer.bits = theirs->timer_bits;
    ours.settings.method = static_cast<Method>(theirs->method);
    ours.settings.false_alarm = theirs->false_alarm;
    if (theirs->struct_size >= sizeof(kurbel_config)) ours.wheel_errors = errors_of(*theirs);
    return {};
}

kurbel_config to_c(const Config& ours) noexcept {
    kurbel_config c{};
    c.struct_size = sizeof c;
    put_engine(ours.engine, c);
    c.sensor_at = static_cast<std::int32_t>(ours.crank_wheel.at);
    c.tdc1_deg = ours.crank_wheel.tdc1_deg;
    c.wheel_positions = ours.crank_wheel.positions;
    c.wheel_teeth = ours.crank_wheel.teeth;
    for (std::size_t i = 0; i < kMaxTeeth; ++i)
        c.tooth_angle_deg[i] = static_cast<double>(ours.crank_wheel.angle_deg[i]);
    std::copy(ours.cam_wheel.edge_deg.begin(), ours.cam_wheel.edge_deg.end(), c.cam_edge_deg);
    c.cam_edges = ours.cam_wheel.edges;
    c.timer_bits = ours.timer.bits;
    c.timer_hz = ours.timer.hz;
    c.false_alarm = ours.settings.false_alarm;
    c.method = static_cast<std::int32_t>(ours.settings.method);
    c.wheel_error_teeth = ours.wheel_errors.teeth;
    c.tooth_rms_se_deg = static_cast<double>(ours.wheel_errors.rms_se_deg);
    for (std::size_t i = 0; i < kMaxTeeth; ++i)
        c.tooth_error_deg[i] = static_cast<double>(ours.wheel_errors.error_deg[i]);
    return c;
}

kurbel_event to_c(const Event& e) noexcept {
    kurbel_event c{};
    c.struct_size = sizeof c;
    c.cylinder = e.cylinder;
    c.candidates[0] = e.candidates[0];
    c.candidates[1] = e.candidates[1];
    c.verdict = static_cast<std::int32_t>(e.verdict);
    c.reason = static_cast<std::int32_t>(e.reason);
    c.cycle = e.cycle;
    c.time_s = e.time_s;
    c.speed_rpm = e.speed_rpm;
    c.load = e.load;
    c.acceleration_rad_s2 = e.acceleration_rad_s2;
    c.work_j = e.work_j;
    c.work_se_j = e.work_se_j;
    c.expected_j = e.expected_j;
    c.work_per_inertia = e.work_per_inertia;
    c.work_se_per_inertia = e.work_se_per_inertia;
    c.expected_per_inertia = e.expected_per_inertia;
    c.severity = e.severity;
    c.evidence = e.evidence;
    c.threshold = e.threshold;
    c.probability = e.probability;
    return c;
}

kurbel_sync to_c(const SyncState& s) noexcept {
    kurbel_sync c{};
    c.struct_size = sizeof c;
    c.synchronised = s.synchronised ? 1 : 0;
    c.phase = static_cast<std::int32_t>(s.phase);
    c.edges = s.edges;
    c.teeth = s.teeth;
    c.revolutions = s.revolutions;
    c.losses = s.losses;
    c.extra = s.extra;
    c.missed = s.missed;
    c.faults = s.faults;
    return c;
}

}  // namespace kurbel::c_api
