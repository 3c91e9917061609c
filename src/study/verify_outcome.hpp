// What a verification came to, for its words and its picture. Inside the library only.
#pragma once

#include <string>
#include <vector>

#include "kurbel/study/similar_conditions.hpp"
#include "kurbel/study/verify_recording.hpp"

namespace kurbel::verify {

/// Judged firings of the cylinder between two values of a condition.
struct Span {
    double low = kUnknown;
    double high = kUnknown;
};

/// A cell of conditions under which BEFORE misfired and the recording never ran.
struct Gap {
    int speed_step = 0;  ///< times SimilarConditions::kSpeed_rpm
    int load_step = -1;  ///< times SimilarConditions::kLoad; -1: loads were not compared
    int warm = -1;       ///< 0 cold, 1 warm, -1: temperatures were not compared
    std::int64_t misfires = 0;
};

/// A step of the test's path: after so many firings, so many misfires.
struct Step {
    std::int64_t firings = 0;
    std::int64_t misfires = 0;
};

struct Outcome {
    int cylinder = 0;
    std::string who;  ///< "cylinder 4", or "cylinder 1 or 4"
    VerifyOptions options;
    RepairTest test;
    std::string verdict;
    double began_s = kUnknown;  ///< first judged firing of the cylinder
    std::vector<Step> path;     ///< a step at each misfire, and the last firing
    Span speed;
    Span load;
    Span coolant;
    bool has_before = false;
    std::int64_t before_misfires = 0;
    std::int64_t before_missed = 0;  ///< of those, under conditions that the recording never met
    std::vector<Gap> gaps;           ///< the most misfires first

    /// Seconds of recording after its first judged firing until the test ended.
    [[nodiscard]] double seconds_to_decision() const noexcept { return test.decided_s() - began_s; }
};

[[nodiscard]] std::string sentence(const Outcome& outcome);
[[nodiscard]] std::string table(const Outcome& outcome);
[[nodiscard]] std::string picture(const Outcome& outcome, const std::string& sentence);
[[nodiscard]] std::string in_words(const Gap& gap);

}  // namespace kurbel::verify
