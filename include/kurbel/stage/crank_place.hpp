// Where the count of teeth stands: which tooth, in which revolution, in which half of the engine cycle.
#pragma once

#include <cstdint>

#include "kurbel/stage/wheel_table.hpp"

namespace kurbel::decoding {

/// Place of the last settled tooth. `half` is 0 in the revolution that holds cylinder 1's firing TDC (Decoder says how sure that is);
/// of a two-stroke it stays 0. Revolutions never fall, but for step_back().
class CrankPlace {
  public:
    void configure(bool four_stroke) noexcept {
        four_stroke_ = four_stroke;
        reset();
    }
    void reset() noexcept {
        revolution_ = -1;
        cycle_ = 0;
        index_ = 0;
        half_ = 0;
    }

    [[nodiscard]] std::int64_t revolution() const noexcept { return revolution_; }
    [[nodiscard]] std::int32_t index() const noexcept { return index_; }
    [[nodiscard]] std::uint8_t half() const noexcept { return half_; }

    /// The wheel is followed anew: `tooth` has just passed, and `teeth` were followed before it. The stretch begins with the first of
    /// them, in the next revolution.
    void begin(const WheelTable& wheel, int tooth, int teeth) noexcept {
        const std::int64_t revolution = revolution_ + 1;
        index_ = tooth;
        step_back(wheel, teeth);
        revolution_ = revolution;
        cycle_ = 0;
    }

    void step_back(const WheelTable& wheel, int teeth) noexcept {
        for (index_ -= teeth; index_ < 0; index_ += wheel.teeth) {
            --revolution_;
            if (half_ == 0) --cycle_;
            if (four_stroke_) half_ ^= 1U;
        }
    }

    /// Moves on by `jump` teeth; returns how many revolutions began.
    int advance(const WheelTable& wheel, int jump) noexcept {
        index_ += jump;
        int begun = 0;
        for (; index_ >= wheel.teeth; ++begun) {
            index_ -= wheel.teeth;
            ++revolution_;
            if (four_stroke_) half_ ^= 1U;
            if (half_ == 0) ++cycle_;
        }
        return begun;
    }

    /// The index had been wrong by `teeth`, fewer than the wheel has. The place in the cycle moves along.
    void move(const WheelTable& wheel, int teeth) noexcept {
        ++revolution_;
        index_ += teeth;
        const bool back = index_ < 0;
        const bool on = index_ >= wheel.teeth;
        if (!back && !on) return;
        index_ += back ? wheel.teeth : -wheel.teeth;
        if (four_stroke_) half_ ^= 1U;
        if (on && half_ == 0) ++cycle_;
        if (back && (half_ == 1 || !four_stroke_)) --cycle_;
    }

    /// The count is off by `deg`, a multiple of the wheel's smallest rotation onto itself. True where the index moved, too.
    bool rotate(const WheelTable& wheel, double deg) noexcept {
        const double tooth_step = 360.0 / wheel.rotations;
        auto periods = static_cast<int>(deg / tooth_step + 0.5);
        int halves = periods / wheel.rotations;
        periods -= halves * wheel.rotations;
        if (periods > 0) {
            ++revolution_;
            index_ += periods * wheel.period;
            if (index_ >= wheel.teeth) {
                index_ -= wheel.teeth;
                ++halves;
            }
        }
        if (!four_stroke_) {
            cycle_ += halves;
        } else {
            const int sum = half_ + halves;
            half_ = static_cast<std::uint8_t>(sum & 1);
            cycle_ += sum / 2;
        }
        return periods > 0;
    }

    /// The other half of the cycle it is.
    void flip() noexcept {
        half_ ^= 1U;
        if (half_ == 0) ++cycle_;
    }

    /// Crank degrees since this stretch began, so that multiples of the cycle are place 0 of the first half.
    [[nodiscard]] double turned_deg(const WheelTable& wheel) const noexcept {
        const double cycle_deg = four_stroke_ ? 720.0 : 360.0;
        return static_cast<double>(cycle_) * cycle_deg + 360.0 * half_ +
               static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(index_)]);
    }

    /// Degrees from here to the tooth `jump` further on.
    [[nodiscard]] float span_of(const WheelTable& wheel, int jump) const noexcept {
        float sum = 0.0F;
        for (int k = 0, tooth = index_; k < jump; ++k, tooth = wheel.next(tooth)) sum += wheel.span(tooth);
        return sum;
    }

  private:
    std::int64_t revolution_ = -1;
    std::int64_t cycle_ = 0;  ///< engine cycles counted since the start of this stretch of synchronism
    std::int32_t index_ = 0;
    std::uint8_t half_ = 0;
    bool four_stroke_ = true;
};

}  // namespace kurbel::decoding
