// kurbel.h: the studies that compare cylinders, running and cranked.
#include "c_api/answer.hpp"
#include "c_api/recording.hpp"
#include "kurbel/study/cranking.hpp"
#include "kurbel/study/work.hpp"

int32_t kurbel_study_work(const kurbel_recording* recording, double limit_percent, kurbel_answer** out, char* text,
                          size_t text_size) {
    if (out != nullptr) *out = nullptr;
    if (recording == nullptr) return kurbel::c_api::refuse("recording: must not be NULL", text, text_size);
    return kurbel::c_api::answered(out, text, text_size, [&] {
        return kurbel::study_work(recording->data, recording->name, {.limit_percent = limit_percent});
    });
}

int32_t kurbel_study_cranking(const kurbel_recording* recording, double limit_percent, kurbel_answer** out, char* text,
                              size_t text_size) {
    if (out != nullptr) *out = nullptr;
    if (recording == nullptr) return kurbel::c_api::refuse("recording: must not be NULL", text, text_size);
    return kurbel::c_api::answered(out, text, text_size, [&] {
        return kurbel::study_cranking(recording->data, recording->name, {.limit_percent = limit_percent});
    });
}
