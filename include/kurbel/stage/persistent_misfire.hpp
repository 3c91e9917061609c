// Tells a cylinder that misfires all the time from a pattern that a healthy engine has.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <utility>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/response_bank.hpp"

namespace kurbel {

/// Bayesian comparison of sets of cylinders whose work is missing from a learned cycle pattern.
///
/// The pattern's low orders are modelled as the responses of the cylinders, each with a small healthy spread, plus shapes
/// that all cylinders share (free amplitudes), plus wheel error. Wheel error repeats every revolution, so it lies at
/// integer orders only and half orders are trusted. Sets are searched by flipping one cylinder at a time from several
/// starts. An equal loss in all cylinders cannot be seen.
template <class Real>
class PersistentMisfire {
  public:
    static constexpr int kMaxOrders = 16;
    static constexpr int kShared = 4;  // combustion and compression of all cylinders, rigid and through torsion
    static constexpr int kMaxColumns = kMaxCylinders + kShared;
    using Window = typename ResponseBank<Real>::Window;

    /// Which places (firing order) miss their work in the pattern, and how far each deviates beyond that (share of expected
    /// work, positive: less work than the others).
    struct Finding {
        std::array<bool, kMaxCylinders> missing{};
        std::array<Real, kMaxCylinders> deviation{};
    };

    void begin(const EngineConfig& engine, const WheelConfig& wheel, const CycleGrid& grid, int first_bin,
               int size) noexcept {
        firings_ = grid.firings;
        bins_ = grid.bins;
        first_bin_ = first_bin;
        size_ = size;
        teeth_ = wheel.teeth;
        two_stroke_ = engine.strokes == 2;
        tdc_bin_ = grid.tdc_bin;
        for (int b = 0; b < bins_; ++b) {
            const double angle = 2.0 * std::numbers::pi * b / bins_;
            cosine_[static_cast<std::size_t>(b)] = static_cast<Real>(std::cos(angle));
            sine_[static_cast<std::size_t>(b)] = static_cast<Real>(std::sin(angle));
        }
        // Orders at which evenly firing healthy cylinders cancel carry the contrasts; uneven ones need some more.
        const bool even = is_even(engine);
        orders_ = 0;
        const int highest = std::min({bins_ / 2 - 1, kMaxOrders, even ? firings_ - 1 : std::max(6, firings_ + 2)});
        for (int m = 1; m <= highest; ++m) order_[static_cast<std::size_t>(orders_++)] = m;
        crank_ = SliderCrank::of(engine);
        restart();
    }

    /// Forgets what was seen, keeps the engine.
    void restart() noexcept {
        last_ = Finding{};
        tracked_ = 0;
        scatter_.fill(0);
    }

    /// Follows how much each order scatters from cycle to cycle. `residual`: one cycle less the pattern, over expected work.
    void track(const std::array<Real, kMaxBins>& residual) noexcept {
        // The first cycle still holds the whole pattern.
        if (tracked_++ == 0) return;
        const Real share = Real(1) / static_cast<Real>(std::min(tracked_, 50));
        for (int o = 0; o < orders_; ++o) {
            const auto [re, im] = project(residual, o);
            Real& scatter = scatter_[static_cast<std::size_t>(o)];
            scatter += share * (Real(0.5) * (re * re + im * im) - scatter);
        }
    }

    /// How each cylinder's response shows at the orders, from the rigid crank's.
    void set_responses(const ResponseBank<Real>& bank) noexcept {
        for (int k = 0; k < firings_; ++k) {
            gain_[static_cast<std::size_t>(k)] = bank.torsion_gain(k);
            for (int o = 0; o < orders_; ++o) {
                Real re = 0;
                Real im = 0;
                for (int j = 0; j < size_; ++j) {
                    const std::size_t b = place_of(tdc_bin_[static_cast<std::size_t>(k)] + first_bin_ + j, o);
                    re += bank.rigid(k)[static_cast<std::size_t>(j)] * cosine_[b];
                    im -= bank.rigid(k)[static_cast<std::size_t>(j)] * sine_[b];
                }
                column_[static_cast<std::size_t>(k)][static_cast<std::size_t>(2 * o)] = re;
                column_[static_cast<std::size_t>(k)][static_cast<std::size_t>(2 * o + 1)] = im;
            }
        }
        // What all cylinders' combustion together leaves at these orders: rigid where firing is uneven, and through torsion,
        // which answers to each throw differently.
        for (int i = 0; i < 2 * orders_; ++i) {
            const auto at = static_cast<std::size_t>(i);
            Real& rigid = shared(kCombustion)[at];
            Real& twisted = shared(kTwistedCombustion)[at];
            rigid = twisted = 0;
            for (int k = 0; k < firings_; ++k) {
                rigid += column_[static_cast<std::size_t>(k)][at];
                twisted += gain_[static_cast<std::size_t>(k)] * column_[static_cast<std::size_t>(k)][at];
            }
        }
        project_compression();
    }

    /// `pattern`: energy difference per bin over expected work. `energy`: mean half speed squared over expected work.
    /// `doubt`: variance of the pattern over the scatter of single cycles.
    /// `mode_per_rev`: first torsion mode, cycles a revolution.
    [[nodiscard]] Finding examine(const std::array<Real, kMaxBins>& pattern, Real energy, Real doubt,
                                  Real mode_per_rev) const noexcept {
        Finding finding;
        if (firings_ < 2 || orders_ == 0 || tracked_ < 3) return finding;
        const int columns = firings_ + kShared;
        Vector data(2 * orders_);
        Vector noise(2 * orders_);
        for (int o = 0; o < orders_; ++o) {
            const auto [re, im] = project(pattern, o);
            data[2 * o] = re;
            data[2 * o + 1] = im;
            noise[2 * o] = noise[2 * o + 1] = order_variance(o, energy, doubt, mode_per_rev);
        }
        Columns f(2 * orders_, columns);
        for (int i = 0; i < 2 * orders_; ++i) {
            const Real twist = twisting(crank_order(i / 2), mode_per_rev);
            for (int c = 0; c < columns; ++c) {
                const Real value = column_[static_cast<std::size_t>(c)][static_cast<std::size_t>(i)];
                if (c < firings_)
                    f(i, c) = value * (Real(1) - gain_[static_cast<std::size_t>(c)] * twist);
                else
                    f(i, c) = c - firings_ < kTwistedCombustion ? value : value * twist;
            }
        }
        const Columns weighted = noise.cwiseInverse().asDiagonal() * f;
        const Square information = f.transpose() * weighted;
        const Side seen = weighted.transpose() * data;
        Square posterior = information;
        for (int c = 0; c < columns; ++c) posterior(c, c) += c < firings_ ? Real(1) / (kSpread * kSpread) : Real(0.05);
        const Eigen::LLT<Square> solver(posterior);
        const Square marginal = information - information * solver.solve(information);
        const Side pull = seen - information * solver.solve(seen);

        search(marginal, pull, finding);
        Side mean = Side::Zero(columns);
        for (int k = 0; k < firings_; ++k) mean[k] = finding.missing[static_cast<std::size_t>(k)] ? Real(1) : Real(0);
        const Side deviation = solver.solve(Side(seen - information * mean));
        for (int k = 0; k < firings_; ++k) finding.deviation[static_cast<std::size_t>(k)] = deviation[k];
        // A pattern that no set of cylinders explains (a resonance swept through) accuses none.
        const Vector left = data - f * (mean + deviation);
        const Real misfit = left.dot(noise.cwiseInverse().cwiseProduct(left)) / static_cast<Real>(2 * orders_);
        if (misfit > kLargestMisfit) finding.missing = last_.missing;
        return finding;
    }

    /// True where the finding before this one named the same places.
    [[nodiscard]] bool confirmed(const Finding& finding) noexcept {
        const bool same = finding.missing == last_.missing;
        last_ = finding;
        return same;
    }

  private:
    static constexpr Real kLargestMisfit = Real(4);
    static constexpr Real kSpread =
        Real(0.12);  // healthy cylinder-to-cylinder spread of work (engineering range, from memory)
    static constexpr Real kPenalty = Real(5);  // a cylinder is dead in less than one of a hundred recordings

    using Vector = Eigen::Matrix<Real, Eigen::Dynamic, 1, 0, 2 * kMaxOrders, 1>;
    using Columns = Eigen::Matrix<Real, Eigen::Dynamic, Eigen::Dynamic, 0, 2 * kMaxOrders, kMaxColumns>;
    using Square = Eigen::Matrix<Real, Eigen::Dynamic, Eigen::Dynamic, 0, kMaxColumns, kMaxColumns>;
    using Side = Eigen::Matrix<Real, Eigen::Dynamic, 1, 0, kMaxColumns, 1>;

    [[nodiscard]] std::pair<Real, Real> project(const std::array<Real, kMaxBins>& values, int o) const noexcept {
        Real re = 0;
        Real im = 0;
        const int step = order_[static_cast<std::size_t>(o)];
        for (int b = 0, at = 0; b < bins_; ++b) {
            re += values[static_cast<std::size_t>(b)] * cosine_[static_cast<std::size_t>(at)];
            im -= values[static_cast<std::size_t>(b)] * sine_[static_cast<std::size_t>(at)];
            at += step;
            if (at >= bins_) at -= bins_;
        }
        return {re, im};
    }

    [[nodiscard]] static bool is_even(const EngineConfig& engine) noexcept {
        for (int i = 0; i < engine.cylinders; ++i)
            if (std::fabs(engine.firing_tdc_deg[static_cast<std::size_t>(i)] -
                          i * engine.cycle_deg() / engine.cylinders) > 0.5)
                return false;
        return true;
    }

    /// Crank order (cycles a revolution) of entry o.
    [[nodiscard]] Real crank_order(int o) const noexcept {
        return static_cast<Real>(order_[static_cast<std::size_t>(o)]) * (two_stroke_ ? Real(1) : Real(0.5));
    }

    [[nodiscard]] std::size_t place_of(int bin, int o) const noexcept {
        const int at = (bin * order_[static_cast<std::size_t>(o)]) % bins_;
        return static_cast<std::size_t>(at < 0 ? at + bins_ : at);
    }

    [[nodiscard]] std::array<Real, 2 * kMaxOrders>& shared(int which) noexcept {
        return column_[static_cast<std::size_t>(firings_ + which)];
    }

    /// Answer of the sensor end through the first mode over the rigid answer, per unit gain, below resonance:
    /// order^2 / (mode^2 - order^2). Near and above it nothing is known well enough; order_variance() shuts that out.
    [[nodiscard]] static Real twisting(Real order, Real mode_per_rev) noexcept {
        const Real ratio2 = order * order / (mode_per_rev * mode_per_rev);
        return ratio2 / std::max(Real(1) - ratio2, Real(0.3));
    }

    /// Compression and expansion of all cylinders, as shapes of free amplitude.
    void project_compression() noexcept {
        auto& shape = shared(kCompression);
        auto& twisted = shared(kTwistedCompression);
        shape.fill(0);
        twisted.fill(0);
        constexpr double kExponent = 1.3;
        for (int k = 0; k < firings_; ++k)
            for (int o = 0; o < orders_; ++o)
                for (int deg = -178; deg < 180; deg += 4) {
                    const double angle = to_rad(deg);
                    const double torque =
                        std::pow(crank_.volume(angle), -kExponent) * crank_.lever(angle) * to_rad(4.0);
                    const double phase = 2.0 * std::numbers::pi * order_[static_cast<std::size_t>(o)] *
                                         (tdc_bin_[static_cast<std::size_t>(k)] / static_cast<double>(bins_) +
                                          deg / (two_stroke_ ? 360.0 : 720.0));
                    const auto re = static_cast<Real>(torque * std::cos(phase));
                    const auto im = static_cast<Real>(-torque * std::sin(phase));
                    const auto at = static_cast<std::size_t>(2 * o);
                    const Real gain = gain_[static_cast<std::size_t>(k)];
                    shape[at] += re;
                    shape[at + 1] += im;
                    twisted[at] += gain * re;
                    twisted[at + 1] += gain * im;
                }
    }

    [[nodiscard]] Real largest_gain() const noexcept {
        Real most = 0;
        for (int k = 0; k < firings_; ++k) most = std::max(most, std::fabs(gain_[static_cast<std::size_t>(k)]));
        return most;
    }

    /// Variance of one component of the projection at entry o.
    [[nodiscard]] Real order_variance(int o, Real energy, Real doubt, Real mode_per_rev) const noexcept {
        const Real order = crank_order(o);
        const Real half_bins = Real(0.5) * static_cast<Real>(bins_);
        Real sum = doubt * scatter_[static_cast<std::size_t>(o)];
        const bool integer = two_stroke_ || order_[static_cast<std::size_t>(o)] % 2 == 0;
        if (integer) {
            // Tooth errors of 0.15 degrees rms, run-out of 0.15 degrees (engineering ranges, from memory): an angle error of
            // amplitude e at this order bends the energy by 2 order e, its difference over one bin by order x bin more.
            const Real rms_rad = Real(0.0026);
            const Real error =
                order <= Real(1) ? rms_rad : rms_rad * std::sqrt(Real(2) / static_cast<Real>(std::max(teeth_, 2)));
            const Real bin_rad =
                Real(2) * std::numbers::pi_v<Real> * (two_stroke_ ? Real(1) : Real(2)) / static_cast<Real>(bins_);
            const Real amplitude = Real(2) * order * error * energy * order * bin_rad * half_bins;
            sum += Real(0.5) * amplitude * amplitude;
        }
        // The mode's frequency and shape are known to a quarter at best; near resonance nothing is known.
        const Real ratio2 = order * order / (mode_per_rev * mode_per_rev);
        if (ratio2 > Real(0.5)) return Real(1e6);
        const Real bent = Real(0.05) + Real(0.3) * twisting(order, mode_per_rev) * largest_gain();
        return sum + bent * bent;
    }

    using State = std::array<bool, kMaxCylinders>;

    void search(const Square& marginal, const Side& pull, Finding& finding) const noexcept {
        Real best_score = 0;
        for (int start = -1; start < firings_; ++start) {
            State state{};
            if (start >= 0) state[static_cast<std::size_t>(start)] = true;
            const Real score = climb(marginal, pull, state);
            if (score > best_score) {
                best_score = score;
                finding.missing = state;
            }
        }
    }

    /// Flips single cylinders while that helps; returns the log-probability over "none missing".
    [[nodiscard]] Real climb(const Square& marginal, const Side& pull, State& state) const noexcept {
        Real score = value(marginal, pull, state);
        for (int round = 0; round < 2 * firings_; ++round) {
            int best = -1;
            for (int k = 0; k < firings_; ++k) {
                const auto place = static_cast<std::size_t>(k);
                state[place] = !state[place];
                const Real next = value(marginal, pull, state);
                state[place] = !state[place];
                if (next > score) {
                    score = next;
                    best = k;
                }
            }
            if (best < 0) break;
            state[static_cast<std::size_t>(best)] = !state[static_cast<std::size_t>(best)];
        }
        return score;
    }

    /// The expected work is known to a quarter only, so each set is given the best of a few sizes.
    [[nodiscard]] Real value(const Square& marginal, const Side& pull, const State& state) const noexcept {
        Real linear = 0;
        Real square = 0;
        Real penalty = 0;
        for (int k = 0; k < firings_; ++k) {
            if (!state[static_cast<std::size_t>(k)]) continue;
            linear += pull[k];
            penalty += kPenalty;
            for (int l = 0; l < firings_; ++l)
                if (state[static_cast<std::size_t>(l)]) square += marginal(k, l);
        }
        if (square <= Real(0)) return Real(0);
        const Real size = std::clamp(linear / square, Real(0.6), Real(1.4));
        return size * linear - Real(0.5) * size * size * square - penalty;
    }

    enum Shared : int { kCombustion, kCompression, kTwistedCombustion, kTwistedCompression };

    int firings_ = 0;
    int bins_ = 0;
    int first_bin_ = 0;
    int size_ = 0;
    int teeth_ = 0;
    int orders_ = 0;
    int tracked_ = 0;
    bool two_stroke_ = false;
    Finding last_{};
    std::array<Real, kMaxOrders> scatter_{};  // variance of one component, cycle to cycle
    std::array<int, kMaxOrders> order_{};
    SliderCrank crank_{};
    std::array<Real, kMaxCylinders> gain_{};  // torsion, of each place
    std::array<std::int16_t, kMaxCylinders> tdc_bin_{};
    std::array<Real, kMaxBins> cosine_{};
    std::array<Real, kMaxBins> sine_{};
    std::array<std::array<Real, 2 * kMaxOrders>, kMaxColumns> column_{};
};

}  // namespace kurbel
