// kurbel.h: edges from a sensor's waveform.
#include <new>

#include "c_api/convert.hpp"
#include "kurbel/signal/waveform_edges.hpp"

namespace signal_of = kurbel::signal;  // `signal` alone is a function of the C library

struct kurbel_waveform {
    kurbel::signal::WaveformEdges edges;
    bool finished = false;
};

namespace {

constexpr std::size_t kFirstSettingsSize = 56;
constexpr std::size_t kFirstEdgeSize = 56;
constexpr std::size_t kFirstReportSize = 136;
static_assert(sizeof(kurbel_waveform_settings) == kFirstSettingsSize);
static_assert(sizeof(kurbel_waveform_edge) == kFirstEdgeSize);
static_assert(sizeof(kurbel_waveform_report) == kFirstReportSize);
static_assert(KURBEL_FINDING_CHANNELS_SWAPPED == static_cast<std::uint32_t>(signal_of::Finding::channels_swapped));

template <class Sample>
std::size_t push(kurbel_waveform& waveform, const void* samples, std::size_t count) noexcept {
    return waveform.edges.push(static_cast<const Sample*>(samples), count);
}

kurbel_waveform_edge to_c(const signal_of::WaveformEdge& edge) noexcept {
    kurbel_waveform_edge out{};
    out.struct_size = sizeof out;
    out.flank = static_cast<std::int32_t>(edge.flank);
    out.tick = edge.tick;
    out.time_s = edge.time_s;
    out.std_error_s = static_cast<double>(edge.std_error_s);
    out.quality = static_cast<double>(edge.quality);
    out.swing = static_cast<double>(edge.swing);
    out.slope_per_s = static_cast<double>(edge.slope_per_s);
    return out;
}

kurbel_waveform_report to_c(const signal_of::WaveformReport& report) noexcept {
    kurbel_waveform_report out{};
    out.struct_size = sizeof out;
    out.kind = static_cast<std::int32_t>(report.kind);
    out.flank = static_cast<std::int32_t>(report.flank);
    out.flank_sure = report.flank_sure ? 1 : 0;
    out.findings = report.findings;
    out.samples = report.samples;
    out.bad_samples = report.bad_samples;
    out.edges = report.edges;
    out.dropouts = report.dropouts;
    out.swing = report.swing;
    out.middle = report.middle;
    out.noise = report.noise;
    out.snr_db = report.snr_db;
    out.tooth_hz = report.tooth_hz;
    out.slope_samples = report.slope_samples;
    out.hum = report.hum;
    out.hum_hz = report.hum_hz;
    out.clipped_share = report.clipped_share;
    out.steps = report.steps;
    return out;
}

}  // namespace

int32_t kurbel_waveform_settings_default(kurbel_waveform_settings* settings, size_t struct_size) {
    if (settings == nullptr || struct_size < kFirstSettingsSize || struct_size > UINT32_MAX) return KURBEL_BAD_ARGUMENT;
    const signal_of::WaveformSettings ours;
    kurbel_waveform_settings out{};
    out.tick_hz = ours.tick_hz;
    out.scale = ours.scale;
    std::memset(settings, 0, struct_size);
    settings->struct_size = static_cast<std::uint32_t>(struct_size);
    kurbel::c_api::write_out(out, settings);
    return KURBEL_OK;
}

int32_t kurbel_waveform_create(const kurbel_waveform_settings* settings, kurbel_waveform** out, char* text,
                               size_t text_size) {
    if (out != nullptr) *out = nullptr;
    if (settings == nullptr || out == nullptr || settings->struct_size < kFirstSettingsSize) {
        kurbel::c_api::write_text("settings and out must not be NULL, struct_size must be set", text, text_size);
        return KURBEL_BAD_ARGUMENT;
    }
    signal_of::WaveformSettings ours;
    ours.rate_hz = settings->rate_hz;
    ours.tick_hz = settings->tick_hz;
    ours.first_tick = settings->first_tick;
    ours.scale = settings->scale;
    ours.least_swing = settings->least_swing;
    kurbel::Status status;
    if (settings->kind < 0 || settings->kind > KURBEL_SENSOR_DIGITAL)
        status = {kurbel::StatusCode::bad_settings, "kind", "is not known"};
    else if (settings->flank < 0 || settings->flank > KURBEL_FLANK_RISING)
        status = {kurbel::StatusCode::bad_settings, "flank", "is not known"};
    if (status.ok()) {
        ours.kind = static_cast<signal_of::SensorKind>(settings->kind);
        ours.flank = static_cast<signal_of::Flank>(settings->flank);
        status = validate(ours);
    }
    if (status.ok()) {
        auto* made = new (std::nothrow) kurbel_waveform;
        if (made == nullptr) {
            status = {kurbel::StatusCode::out_of_memory, "", ""};
        } else {
            made->edges = signal_of::WaveformEdges::create(ours).value;
            *out = made;
        }
    }
    kurbel::c_api::write_text(status, text, text_size);
    return kurbel::c_api::code(status);
}

void kurbel_waveform_destroy(kurbel_waveform* waveform) { delete waveform; }

int32_t kurbel_waveform_push(kurbel_waveform* waveform, const void* samples, int32_t format, size_t count,
                             size_t* consumed) {
    if (consumed != nullptr) *consumed = 0;
    if (waveform == nullptr || consumed == nullptr || (samples == nullptr && count > 0)) return KURBEL_BAD_ARGUMENT;
    if (waveform->finished) return KURBEL_BAD_ORDER;
    switch (format) {
        case KURBEL_SAMPLES_F64: *consumed = push<double>(*waveform, samples, count); break;
        case KURBEL_SAMPLES_F32: *consumed = push<float>(*waveform, samples, count); break;
        case KURBEL_SAMPLES_I16: *consumed = push<std::int16_t>(*waveform, samples, count); break;
        case KURBEL_SAMPLES_I32: *consumed = push<std::int32_t>(*waveform, samples, count); break;
        case KURBEL_SAMPLES_U8: *consumed = push<std::uint8_t>(*waveform, samples, count); break;
        default: return KURBEL_BAD_ARGUMENT;
    }
    return *consumed == count ? KURBEL_OK : KURBEL_QUEUE_FULL;
}

int32_t kurbel_waveform_next_edge(kurbel_waveform* waveform, kurbel_waveform_edge* edge) {
    if (waveform == nullptr || edge == nullptr || edge->struct_size < kFirstEdgeSize) return KURBEL_BAD_ARGUMENT;
    signal_of::WaveformEdge ours;
    if (!waveform->edges.next_edge(ours)) return KURBEL_OK;
    kurbel::c_api::write_out(to_c(ours), edge);
    return KURBEL_EVENT;
}

int32_t kurbel_waveform_finish(kurbel_waveform* waveform) {
    if (waveform == nullptr) return KURBEL_BAD_ARGUMENT;
    if (!waveform->finished) waveform->edges.finish();
    waveform->finished = true;
    return KURBEL_OK;
}

int32_t kurbel_waveform_rewind(kurbel_waveform* waveform) {
    if (waveform == nullptr) return KURBEL_BAD_ARGUMENT;
    waveform->edges.rewind();
    waveform->finished = false;
    return KURBEL_OK;
}

int32_t kurbel_waveform_get_report(const kurbel_waveform* waveform, kurbel_waveform_report* report) {
    if (waveform == nullptr || report == nullptr || report->struct_size < kFirstReportSize) return KURBEL_BAD_ARGUMENT;
    kurbel::c_api::write_out(to_c(waveform->edges.report()), report);
    return KURBEL_OK;
}

const char* kurbel_waveform_finding_name(int32_t bit) { return signal_of::finding_name(bit); }
int32_t kurbel_waveform_compare(kurbel_waveform_report* crank, kurbel_waveform_report* cam) {
    if (crank == nullptr || cam == nullptr || crank->struct_size < kFirstReportSize ||
        cam->struct_size < kFirstReportSize)
        return KURBEL_BAD_ARGUMENT;
    const bool swapped = signal_of::channels_swapped(crank->edges, cam->edges);
    for (kurbel_waveform_report* report : {crank, cam})
        report->findings =
            (report->findings & ~KURBEL_FINDING_CHANNELS_SWAPPED) | (swapped ? KURBEL_FINDING_CHANNELS_SWAPPED : 0U);
    return KURBEL_OK;
}

const char* kurbel_waveform_finding_advice(int32_t bit) { return signal_of::finding_advice(bit); }
