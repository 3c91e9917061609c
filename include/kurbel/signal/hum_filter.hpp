// Mains hum under a signal: found as a line in the spectrum, followed, and taken off.
//
// A line is believed where it stands clear above what is seen 5 Hz on either side of it. An engine that runs at just 3000 or 3600 rpm
// has such a line too; but it has others besides, at half the frequency (every second turn), at one and a half, and at twice. Mains
// hum has not: those three must be far weaker. Its third harmonic is taken off together with the first.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>

namespace kurbel::signal {

template <class Real>
class HumFilter {
  public:
    void configure(double rate_hz) noexcept {
        *this = HumFilter{};
        // Blocks of about a millisecond: lines up to 180 Hz pass the averaging.
        block_ = std::max<std::int64_t>(1, static_cast<std::int64_t>(rate_hz / 1500.0));
        block_s_ = static_cast<double>(block_) / rate_hz;
        enabled_ = 1.0 / block_s_ > 800.0;
        constexpr double kTurn = 6.28318530717958647692;
        for (std::size_t line = 0; line < kLines; ++line) {
            for (std::size_t side = 0; side < 3; ++side) {
                const double hz = kHz[line] + 5.0 * (static_cast<double>(side) - 1.0);
                bins_[line][side].step = turn_by(kTurn * hz * block_s_);
                bins_[line][side].turn = {1.0, 0.0};
            }
            // From one sample to the next, and from the middle of a block to its first sample.
            fine_[line] = turn_by(kTurn * kHz[line] / rate_hz);
            begin_[line] = turn_by(kTurn * kHz[line] * 0.5 * (static_cast<double>(block_) + 1.0) / rate_hz);
        }
    }

    /// Time starts again at 0; amplitudes and phases are kept, as they belong to the same recording.
    void rewind() noexcept {
        count_ = 0;
        sum_ = 0.0;
        for (std::size_t line = 0; line < kLines; ++line) {
            for (Bin& bin : bins_[line]) bin.turn = {1.0, 0.0};
            now_[line] = bins_[line][1].value * std::conj(begin_[line]) * fine_[line];
        }
    }

    /// The sample less the hum.
    [[nodiscard]] Real push(Real x) noexcept {
        if (!enabled_) return x;
        sum_ += static_cast<double>(x);
        double hum = 0.0;
        if (active_ != 0U)
            for (std::size_t line = 0; line < kLines; ++line)
                if ((active_ >> line) & 1U) {
                    hum += now_[line].real();
                    now_[line] *= fine_[line];
                }
        if (++count_ == block_) end_block();
        return x - static_cast<Real>(hum);
    }

    /// Waves slower than this many a second may be taken for hum: lines above a third of it are left alone. 0: none is touched.
    void set_tooth_hz(double hz) noexcept { tooth_hz_ = hz; }

    void allow(bool yes) noexcept { allowed_ = yes; }

    [[nodiscard]] bool active() const noexcept { return active_ != 0U; }
    /// Amplitude of the strongest line that is taken off, 0 without one.
    [[nodiscard]] double amplitude() const noexcept {
        double most = 0.0;
        for (std::size_t line = 0; line < kLines; ++line)
            if ((active_ >> line) & 1U) most = std::max(most, size(bins_[line][1].value));
        return most;
    }
    [[nodiscard]] double hz() const noexcept {
        double most = 0.0;
        double hz = 0.0;
        for (std::size_t line = 0; line < kLines; ++line)
            if (((active_ >> line) & 1U) && size(bins_[line][1].value) > most) {
                most = size(bins_[line][1].value);
                hz = kHz[line];
            }
        return hz;
    }

  private:
    using Complex = std::complex<double>;
    static constexpr std::size_t kLines = 10;  // of either mains 1, 3, 1/2, 3/2 and 2 times its frequency
    static constexpr std::array<double, kLines> kHz{50.0, 150.0, 25.0, 75.0, 100.0, 60.0, 180.0, 30.0, 90.0, 120.0};
    static constexpr double kMemory_s = 0.5;
    static constexpr double kClear = 4.0;  ///< times its neighbours to be believed, half as often to be dropped

    struct Bin {
        Complex turn;  ///< e^(i w t) at the middle of the present block
        Complex step;
        Complex value;  ///< twice the mean of signal times e^(-i w t)
    };

    [[nodiscard]] static double size(const Complex& z) noexcept { return std::sqrt(std::norm(z)); }
    [[nodiscard]] static Complex turn_by(double rad) noexcept { return {std::cos(rad), std::sin(rad)}; }

    void end_block() noexcept {
        const double mean = sum_ / static_cast<double>(block_);
        ++blocks_;
        const double age_s = static_cast<double>(blocks_) * block_s_;
        const double gain = std::max(block_s_ / kMemory_s, 1.0 / static_cast<double>(blocks_));
        // The resting level would leak into every line while the memory is young.
        rest_ += std::max(block_s_ / kMemory_s, 1.0 / static_cast<double>(blocks_)) * (mean - rest_);
        for (std::size_t line = 0; line < kLines; ++line) {
            for (Bin& bin : bins_[line]) {
                bin.value += gain * (2.0 * (mean - rest_) * std::conj(bin.turn) - bin.value);
                bin.turn *= bin.step;
                bin.turn *= 1.5 - 0.5 * std::norm(bin.turn);
            }
            const double here = size(bins_[line][1].value);
            const double beside = std::max(size(bins_[line][0].value), size(bins_[line][2].value));
            const bool on = ((active_ >> line) & 1U) != 0U;
            const std::size_t first = line - line % 5;
            bool may = allowed_ && age_s > 0.3 && kHz[line] < tooth_hz_ / 3.0;
            if (line == first)
                for (std::size_t other = first + 2; other < first + 5; ++other)
                    may = may && here > (on ? 2.0 : 4.0) * size(bins_[other][1].value);
            else
                may = may && line == first + 1 && ((active_ >> first) & 1U) != 0U;
            if (may && here > (on ? 0.5 * kClear : kClear) * beside)
                active_ |= 1U << line;
            else
                active_ &= ~(1U << line);
            // The turn already stands at the middle of the next block.
            now_[line] = bins_[line][1].value * bins_[line][1].turn * std::conj(begin_[line]) * fine_[line];
        }
        count_ = 0;
        sum_ = 0.0;
    }

    std::array<std::array<Bin, 3>, kLines> bins_{};
    std::array<Complex, kLines> fine_{};
    std::array<Complex, kLines> begin_{};
    std::array<Complex, kLines> now_{};
    std::int64_t block_ = 1;
    std::int64_t count_ = 0;
    std::int64_t blocks_ = 0;
    double block_s_ = 1.0;
    double sum_ = 0.0;
    double rest_ = 0.0;
    double tooth_hz_ = 0.0;
    std::uint32_t active_ = 0;
    bool enabled_ = false;
    bool allowed_ = false;
};

}  // namespace kurbel::signal
