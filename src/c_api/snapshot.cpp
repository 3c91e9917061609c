// kurbel.h: a detector's state as bytes.
#include "kurbel/snapshot.hpp"

#include "c_api/handle.hpp"

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
