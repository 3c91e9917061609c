// kurbel.h: the study of patterns.
#include <gtest/gtest.h>

#include <string>

#include "kurbel/kurbel.h"

namespace {

kurbel_recording* open(const char* name) {
    kurbel_recording* recording = nullptr;
    const std::string folder = std::string(KURBEL_DATASETS) + "/" + name;
    EXPECT_EQ(kurbel_recording_open(folder.c_str(), &recording, nullptr, 0), KURBEL_OK);
    return recording;
}

TEST(PatternFromC, RecordingsGiveAnAnswer) {
    kurbel_recording* recordings[2] = {open("pickup-1-before"), open("pickup-road")};
    kurbel_answer* answer = nullptr;
    char text[200] = "before";
    ASSERT_EQ(kurbel_study_pattern(recordings, 2, &answer, text, sizeof text), KURBEL_OK);
    EXPECT_STREQ(text, "");
    EXPECT_STREQ(kurbel_answer_text(answer, KURBEL_ANSWER_VERDICT), "random");
    EXPECT_NE(std::string(kurbel_answer_text(answer, KURBEL_ANSWER_SENTENCE)).find("Cylinder 4"), std::string::npos);
    kurbel_answer_destroy(answer);
    for (kurbel_recording* recording : recordings) kurbel_recording_close(recording);
}

TEST(PatternFromC, RefusalsSayWhatToDo) {
    kurbel_answer* answer = nullptr;
    char text[300];
    EXPECT_EQ(kurbel_study_pattern(nullptr, 0, &answer, text, sizeof text), KURBEL_BAD_ARGUMENT);
    EXPECT_NE(std::string(text).find("at least one recording"), std::string::npos);
    EXPECT_EQ(kurbel_study_pattern(nullptr, 1, &answer, text, sizeof text), KURBEL_BAD_ARGUMENT);
    kurbel_recording* cranked = open("pickup-cranking");
    EXPECT_EQ(kurbel_study_pattern(&cranked, 1, &answer, text, sizeof text), KURBEL_BAD_INPUT);
    EXPECT_NE(std::string(text).find("record it running"), std::string::npos);
    EXPECT_EQ(answer, nullptr);
    EXPECT_EQ(kurbel_study_pattern(&cranked, 1, nullptr, text, sizeof text), KURBEL_BAD_ARGUMENT);
    kurbel_recording_close(cranked);
}

}  // namespace
