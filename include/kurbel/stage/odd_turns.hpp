// Revolutions with both a missed and an extra edge, one after the other: chance does not do that, a wrong index does.
#pragma once

#include <algorithm>
#include <cstdint>

namespace kurbel::decoding {

/// A wrong index meets the gap where it expects teeth, and teeth where it expects the gap, in every revolution. A wheel with a broken
/// tooth and a burr does the same, though, so such revolutions only say that the index is to be looked for anew, beside its being
/// followed; where that finds the same, the next look comes after twice as many.
class OddTurns {
  public:
    void reset() noexcept {
        in_a_row_ = 0;
        patience_ = kPatience;
        missed_ = false;
        extra_ = false;
    }
    void missed() noexcept { missed_ = true; }
    void extra() noexcept { extra_ = true; }

    /// A revolution is over. True: time to look.
    [[nodiscard]] bool end_turn() noexcept {
        in_a_row_ = missed_ && extra_ ? in_a_row_ + 1 : 0;
        missed_ = false;
        extra_ = false;
        return in_a_row_ >= patience_;
    }
    /// The look found the same index.
    void confirmed() noexcept {
        in_a_row_ = 0;
        patience_ = std::min(2 * patience_, kMostPatience);
    }

  private:
    static constexpr std::int32_t kPatience = 2;
    static constexpr std::int32_t kMostPatience = 128;

    std::int32_t in_a_row_ = 0;
    std::int32_t patience_ = kPatience;
    bool missed_ = false;
    bool extra_ = false;
};

}  // namespace kurbel::decoding
