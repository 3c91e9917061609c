// What lies behind a kurbel_detector handle. Inside the library only.
#pragma once

#include "c_api/convert.hpp"
#include "kurbel/detector.hpp"

/// One block without pointers into itself;
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
