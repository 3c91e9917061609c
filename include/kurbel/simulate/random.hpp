// Random numbers that are the same on every machine: xoshiro256** seeded by SplitMix64 (Blackman and Vigna 2018,
// public domain algorithms, written from memory), and the distributions that the engine on paper draws from.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>

#include "kurbel/simulate/portable_math.hpp"

namespace kurbel::simulate {

/// One independent stream. Streams of one seed with different numbers do not overlap in practice.
class Random {
  public:
    Random() noexcept : Random(1) {}
    explicit Random(std::uint64_t seed, std::uint64_t stream = 0) noexcept {
        std::uint64_t state = seed * 0x9e3779b97f4a7c15ULL + (stream + 1) * 0xd1342543de82ef95ULL;
        for (auto& word : state_) word = split_mix(state);
    }

    /// The bare generator, for checks against its published test vectors; not all zero.
    [[nodiscard]] static Random from_state(const std::array<std::uint64_t, 4>& state) noexcept {
        Random result;
        result.state_ = state;
        return result;
    }

    /// 64 random bits.
    [[nodiscard]] std::uint64_t next() noexcept {
        const std::uint64_t result = rotate(state_[1] * 5, 7) * 9;
        const std::uint64_t shifted = state_[1] << 17;
        state_[2] ^= state_[0];
        state_[3] ^= state_[1];
        state_[1] ^= state_[2];
        state_[0] ^= state_[3];
        state_[2] ^= shifted;
        state_[3] = rotate(state_[3], 45);
        return result;
    }

    /// Uniform in [0, 1).
    [[nodiscard]] double uniform() noexcept { return static_cast<double>(next() >> 11) * 0x1.0p-53; }

    /// Standard normal (Box and Muller 1958); always two uniforms a draw, so that streams stay in step.
    [[nodiscard]] double normal() noexcept {
        const double u = 1.0 - uniform();
        const double v = uniform();
        return std::sqrt(-2.0 * portable::log(u)) * portable::cos(2.0 * portable::kPi * v);
    }

  private:
    [[nodiscard]] static constexpr std::uint64_t rotate(std::uint64_t x, int k) noexcept {
        return (x << k) | (x >> (64 - k));
    }
    [[nodiscard]] static std::uint64_t split_mix(std::uint64_t& state) noexcept {
        std::uint64_t z = (state += 0x9e3779b97f4a7c15ULL);
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
        return z ^ (z >> 31);
    }

    std::array<std::uint64_t, 4> state_{};
};

/// Mean 0, standard deviation 1, leaning to the low side: a mirrored log-normal of the wanted skewness.
/// Burns cannot be much better than usual, but they can be much slower.
class LowSideScatter {
  public:
    /// `skewness` in -3 to 0; 0 is the normal distribution.
    explicit LowSideScatter(double skewness = -0.6) noexcept {
        double low = 0.0;
        double high = 1.0;
        for (int i = 0; i < 60; ++i) {
            shape_ = 0.5 * (low + high);
            const double e = portable::exp(shape_ * shape_);
            ((e + 2.0) * std::sqrt(e - 1.0) < -skewness ? low : high) = shape_;
        }
        const double e = portable::exp(shape_ * shape_);
        mean_ = std::sqrt(e);
        deviation_ = std::sqrt(e * (e - 1.0));
        normal_ = skewness > -1e-6;
    }

    /// From a standard normal draw to a draw of this distribution.
    [[nodiscard]] double operator()(double normal) const noexcept {
        return normal_ ? normal : (mean_ - portable::exp(-shape_ * normal)) / deviation_;
    }

  private:
    double shape_ = 0.0;
    double mean_ = 1.0;
    double deviation_ = 1.0;
    bool normal_ = false;
};

}  // namespace kurbel::simulate
