// kurbel.h: the swap test.
#include "kurbel/study/swap.hpp"

#include <algorithm>

#include "c_api/answer.hpp"
#include "c_api/recording.hpp"

namespace {

bool all_there(const kurbel_recording* const* recordings, size_t count) {
    return (recordings != nullptr || count == 0) &&
           std::none_of(recordings, recordings + count, [](const kurbel_recording* r) { return r == nullptr; });
}

std::vector<kurbel::JudgedRecording> judged(const kurbel_recording* const* recordings, size_t count) {
    std::vector<kurbel::JudgedRecording> side;
    for (size_t i = 0; i < count; ++i)
        side.push_back(kurbel::judge_recording(recordings[i]->data, recordings[i]->name));
    return side;
}

}  // namespace

int32_t kurbel_study_swap(const kurbel_recording* const* before, size_t before_count,
                          const kurbel_recording* const* after, size_t after_count, const int32_t* moved_from,
                          const int32_t* moved_to, size_t moves, kurbel_answer** out, char* text, size_t text_size) {
    if (out != nullptr) *out = nullptr;
    if (!all_there(before, before_count) || !all_there(after, after_count))
        return kurbel::c_api::refuse("before and after: must not be NULL, nor hold NULL", text, text_size);
    if (moves > 0 && (moved_from == nullptr || moved_to == nullptr))
        return kurbel::c_api::refuse("moved_from and moved_to: must not be NULL", text, text_size);
    return kurbel::c_api::answered(out, text, text_size, [&] {
        std::vector<kurbel::Move> moved;
        for (size_t i = 0; i < moves; ++i) moved.push_back({moved_from[i], moved_to[i]});
        return kurbel::study_swap(judged(before, before_count), judged(after, after_count), moved);
    });
}
