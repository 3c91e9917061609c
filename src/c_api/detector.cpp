// kurbel.h: the detector.
#include <new>

#include "c_api/convert.hpp"
#include "kurbel/detector.hpp"
#include "kurbel/snapshot.hpp"

using kurbel::Status;
using kurbel::StatusCode;
using kurbel::c_api::code;

/// One block without pointers, so that it may live in memory of the caller.
struct kurbel_detector {
    kurbel::Detector detector{};
    char error_text[160]{};

    /// Remembers what went wrong; a full queue is no fault of the caller and leaves the text alone.
    std::int32_t answer(const kurbel::Status& status) noexcept {
        if (!status.ok() && status.code != kurbel::StatusCode::queue_full)
            kurbel::c_api::write_text(status, error_text, sizeof error_text);
        return kurbel::c_api::code(status);
    }
};

namespace {

Status check_channel(std::int32_t channel) noexcept {
    const bool plain = channel >= KURBEL_LOAD && channel <= KURBEL_VEHICLE_KMH;
    const bool one_cylinder =
        channel >= KURBEL_FUEL_CUT_CYLINDER(1) && channel <= KURBEL_FUEL_CUT_CYLINDER(KURBEL_MAX_CYLINDERS);
    if (plain || one_cylinder) return {};
    return {StatusCode::bad_argument, "channel", "is not known"};
}

Status check_signal(std::int32_t signal) noexcept {
    if (signal == KURBEL_CRANK || signal == KURBEL_CAM) return {};
    return {StatusCode::bad_argument, "signal", "must be KURBEL_CRANK or KURBEL_CAM"};
}

// A Detector of kilobytes is made where it shall live; only create()'s own value passes over the stack.
Status make(void* memory, const kurbel_config* config, kurbel_detector** out) noexcept {
    kurbel::Config ours;
    if (Status status = kurbel::c_api::to_cpp(config, ours); !status) return status;
    const auto made = kurbel::Detector::create(ours);
    if (!made.ok()) return made.status;
    auto* handle = new (memory) kurbel_detector;
    handle->detector = made.value;
    *out = handle;
    return {};
}

}  // namespace

int32_t kurbel_detector_create(const kurbel_config* config, kurbel_detector** out) {
    if (out == nullptr) return KURBEL_BAD_ARGUMENT;
    *out = nullptr;
    void* memory = ::operator new(sizeof(kurbel_detector), std::nothrow);
    if (memory == nullptr) return KURBEL_OUT_OF_MEMORY;
    const Status status = make(memory, config, out);
    if (!status.ok()) ::operator delete(memory);
    return code(status);
}

void kurbel_detector_destroy(kurbel_detector* detector) { ::operator delete(detector); }

size_t kurbel_detector_size(void) { return sizeof(kurbel_detector); }

int32_t kurbel_detector_init(void* memory, size_t memory_size, const kurbel_config* config, kurbel_detector** out) {
    static_assert(alignof(kurbel_detector) <= 16, "the header promises that 16 bytes are enough");
    if (out == nullptr) return KURBEL_BAD_ARGUMENT;
    *out = nullptr;
    if (memory == nullptr || memory_size < sizeof(kurbel_detector)) return KURBEL_BAD_ARGUMENT;
    if (reinterpret_cast<std::uintptr_t>(memory) % 16 != 0) return KURBEL_BAD_ARGUMENT;
    return code(make(memory, config, out));
}

int32_t kurbel_detector_reset(kurbel_detector* detector) {
    if (detector == nullptr) return KURBEL_BAD_ARGUMENT;
    detector->detector.reset();
    detector->error_text[0] = '\0';
    return KURBEL_OK;
}

int32_t kurbel_detector_push_edge(kurbel_detector* detector, int64_t tick, int32_t signal) {
    if (detector == nullptr) return KURBEL_BAD_ARGUMENT;
    if (Status status = check_signal(signal); !status) return detector->answer(status);
    return detector->answer(detector->detector.push_edge(tick, static_cast<kurbel::Signal>(signal)));
}

int32_t kurbel_detector_push_edges(kurbel_detector* detector, const int64_t* ticks, const uint8_t* signals,
                                   size_t count, size_t* consumed) {
    if (consumed == nullptr) return KURBEL_BAD_ARGUMENT;
    *consumed = 0;
    if (detector == nullptr) return KURBEL_BAD_ARGUMENT;
    if (ticks == nullptr && count > 0) return detector->answer({StatusCode::bad_argument, "ticks", "must not be NULL"});
    for (std::size_t i = 0; i < count; ++i) {
        const int32_t signal = signals == nullptr ? KURBEL_CRANK : signals[i];
        if (const int32_t answer = kurbel_detector_push_edge(detector, ticks[i], signal); answer != KURBEL_OK)
            return answer;
        *consumed = i + 1;
    }
    return KURBEL_OK;
}

int32_t kurbel_detector_push_channel(kurbel_detector* detector, int64_t tick, int32_t channel, double value) {
    if (detector == nullptr) return KURBEL_BAD_ARGUMENT;
    if (Status status = check_channel(channel); !status) return detector->answer(status);
    return detector->answer(detector->detector.push_channel(tick, static_cast<kurbel::Channel>(channel), value));
}

int32_t kurbel_detector_next_event(kurbel_detector* detector, kurbel_event* event) {
    if (detector == nullptr || event == nullptr) return KURBEL_BAD_ARGUMENT;
    if (event->struct_size < kurbel::c_api::kFirstEventSize)
        return detector->answer({StatusCode::bad_argument, "event.struct_size", "must be set to sizeof(kurbel_event)"});
    kurbel::Event ours;
    if (!detector->detector.next_event(ours)) return KURBEL_OK;
    kurbel::c_api::write_out(kurbel::c_api::to_c(ours), event);
    return KURBEL_EVENT;
}

int32_t kurbel_detector_finish(kurbel_detector* detector) {
    if (detector == nullptr) return KURBEL_BAD_ARGUMENT;
    return detector->answer(detector->detector.finish());
}

int32_t kurbel_detector_delay_cycles(const kurbel_detector* detector) {
    return detector == nullptr ? KURBEL_BAD_ARGUMENT : detector->detector.delay_cycles();
}

int32_t kurbel_detector_sync(const kurbel_detector* detector, kurbel_sync* sync) {
    if (detector == nullptr || sync == nullptr || sync->struct_size < kurbel::c_api::kFirstSyncSize)
        return KURBEL_BAD_ARGUMENT;
    kurbel::c_api::write_out(kurbel::c_api::to_c(detector->detector.sync()), sync);
    return KURBEL_OK;
}

const char* kurbel_detector_last_error(const kurbel_detector* detector) {
    return detector == nullptr ? "detector: must not be NULL" : detector->error_text;
}

size_t kurbel_detector_snapshot_size(void) { return kurbel::kSnapshotSize<double>; }

int32_t kurbel_detector_snapshot(const kurbel_detector* detector, void* bytes, size_t size) {
    if (detector == nullptr) return KURBEL_BAD_ARGUMENT;
    return kurbel::c_api::code(write_snapshot(detector->detector, bytes, size));
}

int32_t kurbel_detector_restore(kurbel_detector* detector, const void* bytes, size_t size) {
    if (detector == nullptr || bytes == nullptr) return KURBEL_BAD_ARGUMENT;
    const kurbel::Status status = read_snapshot(bytes, size, detector->detector);
    if (status.ok()) detector->error_text[0] = '\0';
    return detector->answer(status);
}
