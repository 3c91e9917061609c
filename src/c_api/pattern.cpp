// kurbel.h: the study of patterns.
#include "kurbel/study/pattern.hpp"

#include "c_api/answer.hpp"
#include "c_api/recording.hpp"

int32_t kurbel_study_pattern(const kurbel_recording* const* recordings, size_t count, kurbel_answer** out, char* text,
                             size_t text_size) {
    if (out != nullptr) *out = nullptr;
    constexpr const char* kNull = "recordings: must not be NULL, nor hold NULL";
    if (recordings == nullptr && count > 0) return kurbel::c_api::refuse(kNull, text, text_size);
    for (size_t i = 0; i < count; ++i)
        if (recordings[i] == nullptr) return kurbel::c_api::refuse(kNull, text, text_size);
    return kurbel::c_api::answered(out, text, text_size, [&] {
        std::vector<kurbel::JudgedRecording> judged;
        for (size_t i = 0; i < count; ++i)
            judged.push_back(kurbel::judge_recording(recordings[i]->data, recordings[i]->name));
        return kurbel::pattern(judged);
    });
}
