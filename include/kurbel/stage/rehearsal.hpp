// Which firings are gone through twice: once to learn the engine, once to be judged.
#pragma once

#include <cstdint>

namespace kurbel {

/// The firings of the first cycles wait until the engine is known. Then a rehearsal goes through them, and after it they are
/// judged like all others.
class Rehearsal {
  public:
    void reset() noexcept { *this = {}; }
    /// Bins of the first and the last firing that waited.
    void begin(std::int64_t first, std::int64_t last) noexcept {
        first_ = first;
        last_ = last;
        runs_ = first <= last;
    }
    void end() noexcept { runs_ = false; }

    [[nodiscard]] bool runs() const noexcept { return runs_; }
    [[nodiscard]] std::int64_t first() const noexcept { return first_; }
    /// The firing at `bin` has been rehearsed, and comes for the second time.
    [[nodiscard]] bool over_for(std::int64_t bin) const noexcept { return !runs_ && bin >= first_ && bin <= last_; }

  private:
    std::int64_t first_ = 0;
    std::int64_t last_ = -1;
    bool runs_ = false;
};

}  // namespace kurbel
