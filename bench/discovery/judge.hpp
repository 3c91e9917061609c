// Findings against what was drawn.
#pragma once

#include <array>
#include <string>

#include "draw.hpp"
#include "kurbel/discover/discovery.hpp"
#include "kurbel/read/recording.hpp"

namespace kurbel_discovery {

[[nodiscard]] const char* name(Drive drive);

enum class Answer : std::uint8_t { right, not_sure, wrong, not_asked };

/// Wheel, second line, cylinders, TDC.
inline constexpr std::size_t kQuestions = 4;

struct Judgement {
    std::array<Answer, kQuestions> answer{Answer::not_asked, Answer::not_asked, Answer::not_asked, Answer::not_asked};
    std::string text;
    [[nodiscard]] bool any_wrong() const;
};

class Counts {
  public:
    void add(const Judgement& judgement);
    void add(const Counts& other);
    [[nodiscard]] std::string row(const char* name) const;
    [[nodiscard]] int wrong() const;

  private:
    int seeds_ = 0;
    std::array<std::array<int, 3>, kQuestions> count_{};
};

/// Runs the discovery on the recording's edges, and compares. Right: even wheels place by place; uneven ones within 3 degrees
/// a tooth (the speed swings between few teeth); the second line within 3 degrees an edge; all firings of a cycle within 3 degrees
/// of each other's distances; a TDC within 10 degrees (asked where there is a fuel cut).
[[nodiscard]] Judgement judge(const Drawn& drawn, const kurbel::read::Recording& recording, bool tell_cuts);

}  // namespace kurbel_discovery
