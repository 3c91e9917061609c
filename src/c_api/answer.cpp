// kurbel.h: answers of studies.
#include "c_api/answer.hpp"

const char* kurbel_answer_text(const kurbel_answer* answer, int32_t part) {
    if (answer == nullptr) return "";
    switch (part) {
        case KURBEL_ANSWER_VERDICT: return answer->data.verdict.c_str();
        case KURBEL_ANSWER_SENTENCE: return answer->data.sentence.c_str();
        case KURBEL_ANSWER_JSON: return answer->json.c_str();
        case KURBEL_ANSWER_TABLE: return answer->data.table.c_str();
        case KURBEL_ANSWER_PICTURE: return answer->data.picture.c_str();
        default: return "";
    }
}

int32_t kurbel_answer_save(const kurbel_answer* answer, const char* folder, char* text, size_t text_size) {
    if (answer == nullptr || folder == nullptr)
        return kurbel::c_api::refuse("answer and folder: must not be NULL", text, text_size);
    return kurbel::c_api::guarded(text, text_size, [&] { kurbel::save_answer(answer->data, folder); });
}

void kurbel_answer_destroy(kurbel_answer* answer) { delete answer; }
