// kurbel.h: repair verification, of recordings and live.
#include <new>
#include <optional>

#include "c_api/answer.hpp"
#include "c_api/recording.hpp"
#include "kurbel/study/verify_recording.hpp"

struct kurbel_repair_test {
    kurbel::RepairTest data;
};

static constexpr size_t kFirstRepairStateSize = 56;
static_assert(sizeof(kurbel_repair_state) >= kFirstRepairStateSize);

int32_t kurbel_study_verify(const kurbel_recording* recording, const kurbel_recording* before, int32_t cylinder,
                            double limit_percent, double confidence_percent, kurbel_answer** out, char* text,
                            size_t text_size) {
    if (out != nullptr) *out = nullptr;
    if (recording == nullptr) return kurbel::c_api::refuse("recording: must not be NULL", text, text_size);
    return kurbel::c_api::answered(out, text, text_size, [&] {
        std::optional<kurbel::JudgedRecording> with_fault;
        if (before != nullptr) with_fault = kurbel::judge_recording(before->data, before->name);
        return kurbel::study_verify(kurbel::judge_recording(recording->data, recording->name), cylinder,
                                    {.limit_percent = limit_percent, .confidence_percent = confidence_percent},
                                    with_fault ? &*with_fault : nullptr);
    });
}

int32_t kurbel_repair_test_create(int32_t cylinder, double limit_percent, double confidence_percent, double false_alarm,
                                  double dispersion, kurbel_repair_test** out) {
    if (out == nullptr) return KURBEL_BAD_ARGUMENT;
    *out = nullptr;
    const kurbel::RepairQuestion question{.cylinder = cylinder,
                                          .limit = limit_percent / 100.0,
                                          .confidence = confidence_percent / 100.0,
                                          .false_alarm = false_alarm,
                                          .dispersion = dispersion};
    if (!kurbel::RepairTest::valid(question)) return KURBEL_BAD_ARGUMENT;
    *out = new (std::nothrow) kurbel_repair_test{kurbel::RepairTest(question)};
    return *out == nullptr ? KURBEL_OUT_OF_MEMORY : KURBEL_OK;
}

void kurbel_repair_test_destroy(kurbel_repair_test* test) { delete test; }

int32_t kurbel_repair_test_push(kurbel_repair_test* test, const kurbel_event* event) {
    if (test == nullptr || event == nullptr || event->struct_size < kurbel::c_api::kFirstEventSize)
        return KURBEL_BAD_ARGUMENT;
    if (event->verdict < KURBEL_FIRED || event->verdict > KURBEL_UNJUDGED) return KURBEL_BAD_ARGUMENT;
    kurbel::Event ours;
    ours.time_s = event->time_s;
    ours.cycle = event->cycle;
    ours.cylinder = event->cylinder;
    ours.candidates = {event->candidates[0], event->candidates[1]};
    ours.verdict = static_cast<kurbel::Verdict>(event->verdict);
    test->data.push(ours);
    return KURBEL_OK;
}

int32_t kurbel_repair_test_state(const kurbel_repair_test* test, kurbel_repair_state* state) {
    if (test == nullptr || state == nullptr || state->struct_size < kFirstRepairStateSize) return KURBEL_BAD_ARGUMENT;
    kurbel_repair_state ours{};
    ours.state = static_cast<int32_t>(test->data.state());
    ours.firings = test->data.firings();
    ours.misfires = test->data.misfires();
    ours.clean_needed = test->data.clean_needed();
    ours.seconds_needed = test->data.seconds_needed();
    ours.decided_s = test->data.decided_s();
    ours.rate_upper = test->data.rate_upper();
    kurbel::c_api::write_out(ours, state);
    return KURBEL_OK;
}
