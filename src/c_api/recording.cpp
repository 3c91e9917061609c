// kurbel.h: recordings on disk. The only part of the C interface that allocates, reads files and meets exceptions.
#include "c_api/recording.hpp"

#include "c_api/answer.hpp"
#include "c_api/convert.hpp"

namespace {

/// The handle as Feed wants it, through the C calls, which keep the text of what failed.
struct Through {
    kurbel_detector* handle;

    [[nodiscard]] static kurbel::Status status(std::int32_t code) noexcept {
        return {static_cast<kurbel::StatusCode>(code), "", ""};
    }
    [[nodiscard]] kurbel::Status push_edge(std::int64_t tick, kurbel::Signal signal) const noexcept {
        return status(kurbel_detector_push_edge(handle, tick, static_cast<std::int32_t>(signal)));
    }
    [[nodiscard]] kurbel::Status push_channel(std::int64_t tick, kurbel::Channel channel, double value) const noexcept {
        return status(kurbel_detector_push_channel(handle, tick, static_cast<std::int32_t>(channel), value));
    }
};

}  // namespace

int32_t kurbel_recording_open(const char* folder, kurbel_recording** out, char* text, size_t text_size) {
    if (out != nullptr) *out = nullptr;
    if (folder == nullptr || out == nullptr) {
        kurbel::c_api::write_text("folder and out must not be NULL", text, text_size);
        return KURBEL_BAD_ARGUMENT;
    }
    return kurbel::c_api::guarded(text, text_size, [&] {
        *out = new kurbel_recording(kurbel::read::read_recording(folder, {}, kurbel::read::Labels::left_out), folder);
    });
}

void kurbel_recording_close(kurbel_recording* recording) { delete recording; }

int32_t kurbel_recording_config(const kurbel_recording* recording, kurbel_config* config) {
    if (recording == nullptr || config == nullptr) return KURBEL_BAD_ARGUMENT;
    if (config->struct_size < kurbel::c_api::kFirstConfigSize) return KURBEL_BAD_ARGUMENT;
    kurbel::c_api::write_out(kurbel::c_api::to_c(recording->data.config), config);
    return KURBEL_OK;
}

int64_t kurbel_recording_edges(const kurbel_recording* recording) {
    return recording == nullptr ? 0 : static_cast<std::int64_t>(recording->data.tick.size());
}

int32_t kurbel_recording_feed(kurbel_recording* recording, kurbel_detector* detector) {
    if (recording == nullptr || detector == nullptr) return KURBEL_BAD_ARGUMENT;
    Through through{detector};
    return kurbel::c_api::code(recording->feed.run(through));
}

int32_t kurbel_recording_rewind(kurbel_recording* recording) {
    if (recording == nullptr) return KURBEL_BAD_ARGUMENT;
    recording->feed = kurbel::read::Feed(kurbel::read::view_of(recording->data));
    return KURBEL_OK;
}
