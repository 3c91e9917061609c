// kurbel.h: kurbel_inspect.
#include <gtest/gtest.h>

#include <cstring>
#include <string>
#include <vector>

#include "kurbel/kurbel.h"

namespace {

/// A 36-1 wheel that turns evenly: 35 edges 1000 ticks apart, then a double one.
std::vector<std::int64_t> even_36_1(int turns) {
    std::vector<std::int64_t> ticks;
    for (int turn = 0; turn < turns; ++turn)
        for (int place = 0; place < 35; ++place) ticks.push_back(36000LL * turn + 1000LL * place);
    return ticks;
}

TEST(Inspect, FindsAWheelAndDraftsTheDescription) {
    const std::vector<std::int64_t> ticks = even_36_1(60);
    kurbel_answer* answer = nullptr;
    ASSERT_EQ(kurbel_inspect(ticks.data(), nullptr, ticks.size(), 1e6, 0, nullptr, 0, &answer, nullptr, 0), KURBEL_OK);
    const std::string json = kurbel_answer_text(answer, KURBEL_ANSWER_JSON);
    EXPECT_STRNE(kurbel_answer_text(answer, KURBEL_ANSWER_VERDICT), "not sure");
    EXPECT_NE(json.find("\"positions\": 36"), std::string::npos) << json;
    EXPECT_NE(json.find("absent = [35]"), std::string::npos);
    EXPECT_NE(json.find("hz = 1000000"), std::string::npos);
    EXPECT_EQ(std::strncmp(kurbel_answer_text(answer, KURBEL_ANSWER_PICTURE), "<svg", 4), 0);
    kurbel_answer_destroy(answer);
}

TEST(Inspect, RefusesWhatMakesNoSense) {
    const std::vector<std::int64_t> ticks = even_36_1(3);
    kurbel_answer* answer = nullptr;
    char text[100] = "";
    EXPECT_EQ(kurbel_inspect(nullptr, nullptr, 5, 1e6, 0, nullptr, 0, &answer, text, sizeof text), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_inspect(ticks.data(), nullptr, ticks.size(), 0.0, 0, nullptr, 0, &answer, text, sizeof text),
              KURBEL_BAD_TIMER);
    EXPECT_NE(std::string(text).find("timer.hz"), std::string::npos);
    EXPECT_EQ(kurbel_inspect(ticks.data(), nullptr, ticks.size(), 1e6, 0, nullptr, 0, nullptr, text, sizeof text),
              KURBEL_BAD_ARGUMENT);
    // Nothing at all is no error: it is a finding.
    ASSERT_EQ(kurbel_inspect(nullptr, nullptr, 0, 1e6, 0, nullptr, 0, &answer, text, sizeof text), KURBEL_OK);
    EXPECT_STREQ(kurbel_answer_text(answer, KURBEL_ANSWER_VERDICT), "not sure");
    kurbel_answer_destroy(answer);
}

}  // namespace
