// Tells a cylinder that misfires all the time from a pattern that a healthy engine has.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/cylinder_orders.hpp"
#include "kurbel/stage/missing_odds.hpp"
#include "kurbel/stage/missing_search.hpp"
#include "kurbel/stage/orders_fit.hpp"

namespace kurbel {

/// One learned cycle pattern as PersistentMisfire looks at it. Work is over inertia, rad^2/s^2.
template <class Real>
struct LearnedPattern {
    std::array<Real, kMaxBins> difference{};  ///< energy difference per bin over the expected work of one firing
    Real energy = 0;                          ///< mean half speed squared over the expected work
    Real speed_rpm = 0;
    Real intake = 0;        ///< intake pressure over the indicated mean pressure of a healthy firing
    Real doubt = 0;         ///< variance of the pattern over the scatter of single cycles
    Real mode_per_rev = 0;  ///< first torsion mode, cycles a revolution
    bool sized = false;     ///< the expected work is known, not guessed
};

/// Bayesian comparison of sets of cylinders whose work is missing from a learned cycle pattern.
///
/// The pattern's orders are modelled as the losses of the cylinders, each with a small healthy spread, plus the combustion and
/// compression that all cylinders share, as a rigid crank and the first torsion mode show them, plus wheel error. Wheel error
/// lies at integer orders, so half orders are trusted. What hangs on the crank bends all of that: a few driveline resonances,
/// burn delays and wheels, true and eccentric, are tried, and what they tell is summed. An equal loss in all cylinders cannot be seen.
template <class Real>
class PersistentMisfire {
  public:
    using Set = std::array<bool, kMaxCylinders>;

    /// Which places (firing order) miss their work in the pattern, and how far each deviates beyond that (share of expected
    /// work, positive: less work than the others).
    struct Finding {
        Set missing{};
        std::array<Real, kMaxCylinders> deviation{};
        std::array<Real, kMaxCylinders>
            alone{};  ///< log-likelihood ratio of "this one alone misses its work" over "none does"
    };

    void begin(const EngineConfig& engine, const WheelConfig& wheel, const CycleGrid& grid, const ResponseBank& bank,
               int first_bin, int size) noexcept {
        teeth_ = std::max(wheel.teeth, 2);
        orders_.begin(engine, grid, bank, first_bin, size);
        for (int k = 0; k < grid.firings; ++k) {
            gain_[static_cast<std::size_t>(k)] = bank.torsion_gain(k);
            largest_gain_ = std::max(largest_gain_, std::fabs(bank.torsion_gain(k)));
        }
        restart();
    }

    /// Forgets what was seen, keeps the engine.
    void restart() noexcept {
        last_.fill(false);
        held_.fill(false);
        tracked_ = 0;
        examined_ = 0;
        chosen_ = 0;
        others_add_ = 0;
        scatter_.fill(0);
    }

    /// Follows how much each order scatters from cycle to cycle. `residual`: one cycle less the pattern; `expected`: work of one
    /// firing.
    void track(const std::array<Real, kMaxBins>& residual, Real expected) noexcept {
        // The first cycle still holds the whole pattern.
        if (tracked_++ == 0 || (tracked_ > kEachCycle && tracked_ % kLaterEvery != 0)) return;
        const float share = 1.0F / static_cast<float>(std::min(tracked_, 50));
        const Real scale = Real(0.5) / (expected * expected);
        for (int o = 0; o < orders_.count(); ++o) {
            float& scatter = scatter_[static_cast<std::size_t>(o)];
            scatter += share * (static_cast<float>(scale * std::norm(orders_.project(residual, o))) - scatter);
        }
    }

    /// Tries all surroundings at first, later the best one and two others. Cylinders are missing where that is likelier than that none
    /// is, whatever surrounds the crank; which ones, the surrounding tells that explains most.
    [[nodiscard]] Finding examine(const LearnedPattern<Real>& pattern, const CylinderLife<Real>& life) noexcept {
        if (orders_.firings() < 2 || orders_.count() == 0 || tracked_ < 3) return {};
        const Projected projected = project(pattern);
        const auto look = [&](int around, Odds& odds) noexcept {
            const Explanation e = explain(pattern, projected, around, life);
            const bool some = std::any_of(e.missing.begin(), e.missing.end(), [](bool missing) { return missing; });
            odds.add(around, e.evidence, e.gain, some && e.size >= kDead, e);
        };
        const auto look_at_chosen = [&]() noexcept {
            Odds odds;
            look(chosen_, odds);
            look(other_wheel(chosen_), odds);  // whether the wheel is what is odd
            return odds;
        };
        const bool all = examined_++ < kThorough;
        Odds odds;
        if (!all) odds = look_at_chosen();
        // Later on what all the others add to the odds is taken as it was then; one of them is tried in turn.
        const Real later = odds.odds() + others_add_;
        for (int i = 0; i < (all ? kSurroundings : 1); ++i) look((examined_ + i) % kSurroundings, odds);
        const auto& best = odds.best((all ? odds.odds() : later) > Real(0));
        chosen_ = best.around;
        if (all) {
            // Where the chosen ones have no dead set to offer, what the others add to one is not known.
            const Odds of_chosen = look_at_chosen();
            others_add_ =
                of_chosen.any_dead() ? std::clamp(odds.odds() - of_chosen.odds(), -kMostAdded, kMostAdded) : Real(0);
        }
        return find(model(pattern, projected, chosen_), best.explanation);
    }

    /// Of each place the log-likelihood ratio of "this one alone misses its work" over "none does", in the surrounding that explains most.
    [[nodiscard]] std::array<Real, kMaxCylinders> evidence_against(const LearnedPattern<Real>& pattern) const noexcept {
        const OrdersFit<Real> fit(model(pattern, project(pattern), chosen_), orders_.firings());
        const Search sets = search(fit, pattern, CylinderLife<Real>{});
        std::array<Real, kMaxCylinders> alone{};
        for (int k = 0; k < orders_.firings(); ++k) alone[static_cast<std::size_t>(k)] = sets.alone(k);
        return alone;
    }

    /// A place that was found burns after all.
    void acquit(int place) noexcept {
        held_[static_cast<std::size_t>(place)] = false;
        last_[static_cast<std::size_t>(place)] = false;
    }

    /// True where the finding before this one named the same places.
    [[nodiscard]] bool confirmed(const Finding& finding) noexcept {
        const bool same = finding.missing == last_;
        last_ = finding.missing;
        if (same) held_ = finding.missing;
        return same;
    }

  private:
    /// What hangs on the crank.
    struct Surrounding {
        float resonance_hz;   ///< of gearbox or vehicle against the engine; 0: none
        float inertia_ratio;  ///< what swings against the engine, over the engine's inertia
        float damping;        ///< ratio
        float usual;          ///< prior probability
        float mode = 1;       ///< frequency of the crank's first torsion mode over the expected one
    };
    // Ranges: shuffle 2 to 8 Hz, dual-mass flywheel 8 to 15 Hz, by dry friction damped up to a third, clutch 40 to 80 Hz (engineering
    // ranges, from memory). A crank may be as soft as the last one.
    static constexpr int kResonances = 15;
    static constexpr int kBurns = 2;
    static constexpr int kSurroundings = 2 * kBurns * kResonances;  // the second half on an eccentric wheel
    static constexpr std::array<Surrounding, kResonances> kAround{{{0, 0, 0.08F, 0.40F},
                                                                   {4, 1.0F, 0.08F, 0.04F},
                                                                   {7, 1.0F, 0.08F, 0.04F},
                                                                   {10, 0.6F, 0.08F, 0.03F},
                                                                   {14, 0.6F, 0.08F, 0.03F},
                                                                   {10, 0.6F, 0.3F, 0.03F},
                                                                   {15, 0.6F, 0.3F, 0.03F},
                                                                   {36, 0.15F, 0.08F, 0.06F},
                                                                   {41, 0.15F, 0.08F, 0.06F},
                                                                   {47, 0.15F, 0.08F, 0.06F},
                                                                   {54, 0.15F, 0.08F, 0.06F},
                                                                   {62, 0.15F, 0.08F, 0.06F},
                                                                   {71, 0.15F, 0.08F, 0.06F},
                                                                   {82, 0.15F, 0.08F, 0.06F},
                                                                   {0, 0, 0.08F, 0.10F, 0.65F}}};
    // Run-out of a wheel, rms: of one that sits well, of one that does not, and how rare that is (engineering ranges, from memory).
    static constexpr Real kTrue_deg = Real(0.06);
    static constexpr Real kEccentric_deg = Real(0.25);
    static constexpr Real kRarelyEccentric = Real(0.2);
    static constexpr Real kUnmodelled = Real(0.05);  // of one loss, at any order
    static constexpr float kLate_deg = 20;           // of combustion, where it is not where it is expected
    static constexpr int kThorough = 3;              // examinations
    static constexpr Real kMostAdded = Real(5);
    static constexpr int kEachCycle = 64;  // at first each cycle's scatter is looked at, later one in a few
    static constexpr int kLaterEvery = 4;
    static constexpr Real kLargestMisfit = Real(4);
    // Healthy cylinder-to-cylinder spread of work (engineering range, from memory).
    static constexpr Real kSpread = Real(0.06);
    static constexpr Real kWeakSpread = Real(0.12);
    // Nearer to dead than to healthy; less than that is a weak cylinder.
    static constexpr Real kDead = Real(0.5);
    static constexpr Real kWeak = Real(0.2);
    static constexpr Real kRarely =
        Real(3);  // who looks for misfires finds a given cylinder dead in one of twenty recordings
    // What half orders show is there from the first cycles on, so that one who was not found then is not dead: log-odds. Sets that lie
    // evenly show at whole orders alone, where the wheel's error stands before them, and may be found late; and none is held for good.
    static constexpr Real kHardened = Real(10);
    static constexpr Real kHeld = Real(3);
    static constexpr int kHardening = 200;  // cycles
    using Complex = std::complex<Real>;
    using Projected = std::array<Complex, CylinderOrders::kMaxOrders>;
    using Model = OrdersModel<Real>;
    using Square = typename Model::Square;
    using Side = typename Model::Side;
    using Search = MissingSearch<Real, Square, Side>;

    /// What one surrounding makes of a pattern.
    struct Explanation {
        Real evidence = 0;  ///< logarithm, but for what all surroundings share
        Real gain = 0;      ///< what the set that is missing adds to it
        Set missing{};
        Real size = 1;                            ///< share of its work that each of them misses
        std::array<Real, kMaxCylinders> alone{};  ///< as in Finding
    };

    using Odds = MissingOdds<Real, Explanation>;

    /// The same surrounding with the other kind of wheel.
    [[nodiscard]] static constexpr int other_wheel(int around) noexcept {
        return (around + kSurroundings / 2) % kSurroundings;
    }
    [[nodiscard]] static constexpr bool is_eccentric(int around) noexcept { return around >= kSurroundings / 2; }
    [[nodiscard]] static constexpr const Surrounding& around_at(int around) noexcept {
        return kAround[static_cast<std::size_t>(around % kResonances)];
    }
    /// The first torsion mode there, cycles a revolution.
    [[nodiscard]] static Real mode_at(const LearnedPattern<Real>& pattern, int around) noexcept {
        return pattern.mode_per_rev * static_cast<Real>(around_at(around).mode);
    }
    /// Near the mode and above it nothing is known of an order.
    [[nodiscard]] bool is_shut(int o, Real mode) const noexcept {
        const auto order = static_cast<Real>(orders_.per_revolution(o));
        return order * order > Real(0.5) * mode * mode;
    }

    /// A pattern's component at each order.
    [[nodiscard]] Projected project(const LearnedPattern<Real>& pattern) const noexcept {
        Projected projected{};
        for (int o = 0; o < orders_.count(); ++o)
            projected[static_cast<std::size_t>(o)] = orders_.project(pattern.difference, o);
        return projected;
    }

    [[nodiscard]] Model model(const LearnedPattern<Real>& pattern, const Projected& projected,
                              int around) const noexcept {
        Model m(2 * orders_.count(), orders_.firings() + CylinderOrders::kSharedParts);
        for (int o = 0; o < orders_.count(); ++o) {
            const Complex seen = projected[static_cast<std::size_t>(o)];
            m.data[2 * o] = seen.real();
            m.data[2 * o + 1] = seen.imag();
            m.weight[2 * o] = m.weight[2 * o + 1] = Real(1) / variance(o, pattern, std::abs(seen), around);
            fill_columns(o, pattern, around, m.shape);
        }
        Side mean = Side::Zero(m.shape.cols());
        shared_prior(pattern, mean, m.prior);
        m.data -= m.shape.lazyProduct(mean);
        return m;
    }

    /// Logarithm of the density of a pattern in this surrounding where all are as expected, but for what the fit explains. Of an order at which
    /// nothing is known any size is alike, to a factor.
    [[nodiscard]] Real surprise(const Model& m, const LearnedPattern<Real>& pattern, const Projected& projected,
                                int around) const noexcept {
        Real sum = 0;
        for (int o = 0; o < orders_.count(); ++o)
            sum += is_shut(o, mode_at(pattern, around))
                       ? Real(-2) * std::log1p(std::abs(projected[static_cast<std::size_t>(o)]))
                       : std::log(m.weight[2 * o]);
        return sum;
    }

    [[nodiscard]] Search search(const OrdersFit<Real>& fit, const LearnedPattern<Real>& pattern,
                                const CylinderLife<Real>& life) const noexcept {
        return Search(fit.quadratic(), fit.linear(), orders_.firings(),
                      {kWeak, kDead, pattern.sized ? Real(1.4) : Real(2.5), pattern.sized ? Real(0.3) : Real(0.5)},
                      prior_odds(life), life, orders_.four_stroke(), even_odds(life));
    }

    /// Fits the pattern in one surrounding.
    [[nodiscard]] Explanation explain(const LearnedPattern<Real>& pattern, const Projected& projected, int around,
                                      const CylinderLife<Real>& life) const noexcept {
        const Model m = model(pattern, projected, around);
        const OrdersFit<Real> fit(m, orders_.firings());
        const Search sets = search(fit, pattern, life);
        const Real usual = is_eccentric(around) ? kRarelyEccentric : Real(1) - kRarelyEccentric;
        Explanation e;
        e.gain = sets.best(e.missing);
        e.evidence = e.gain + fit.evidence() + surprise(m, pattern, projected, around) +
                     std::log(usual * static_cast<Real>(around_at(around).usual));
        e.size = sets.size(e.missing);
        for (int k = 0; k < orders_.firings(); ++k) e.alone[static_cast<std::size_t>(k)] = sets.alone(k);
        return e;
    }

    /// What follows from the explanation that was chosen.
    [[nodiscard]] Finding find(const Model& m, const Explanation& chosen) const noexcept {
        Finding finding;
        finding.missing = chosen.missing;
        finding.alone = chosen.alone;
        const auto weighted = (m.weight.asDiagonal() * m.shape).eval();
        const Square information = m.shape.transpose().lazyProduct(weighted);
        const Side seen = weighted.transpose().lazyProduct(m.data);
        Side lost = Side::Zero(seen.size());
        for (int k = 0; k < orders_.firings(); ++k)
            if (finding.missing[static_cast<std::size_t>(k)]) lost[k] = chosen.size;
        Square posterior = information;
        posterior.diagonal() += m.prior;
        const Side deviation = posterior.llt().solve(Side(seen - information * lost));
        // A pattern that no set of cylinders explains (a resonance swept through) says nothing new.
        const typename Model::Vector left = m.data - m.shape * (lost + deviation);
        if (left.dot(m.weight.cwiseProduct(left)) > kLargestMisfit * static_cast<Real>(left.size()))
            finding.missing = held_;
        else if (chosen.size < kDead)
            finding.missing.fill(false);
        read_deviations(information, seen, m.prior, chosen.size, finding);
        return finding;
    }

    /// How far each cylinder lies from the others. A weak one may be further off than healthy ones are from each other.
    void read_deviations(const Square& information, const Side& seen, const Side& prior, Real size,
                         Finding& finding) const noexcept {
        const int firings = orders_.firings();
        Side lost = Side::Zero(seen.size());
        Square posterior = information;
        posterior.diagonal() += prior;
        for (int k = 0; k < firings; ++k) {
            if (finding.missing[static_cast<std::size_t>(k)]) lost[k] = size;
            posterior(k, k) += Real(1) / (kWeakSpread * kWeakSpread) - prior[k];
        }
        const Side deviation = posterior.llt().solve(Side(seen - information * lost));
        for (int k = 0; k < firings; ++k) finding.deviation[static_cast<std::size_t>(k)] = deviation[k];
    }

    /// How long the pattern has been known, 0 to 1.
    [[nodiscard]] Real hardened() const noexcept {
        return std::min(static_cast<Real>(tracked_) / static_cast<Real>(kHardening), Real(1));
    }

    /// Log-odds of each place to be dead. A cylinder that dies or recovers later on does not change the pattern, for its firings
    /// stand out of it and are not learned: the longer the pattern is known, the less a finding changes.
    [[nodiscard]] std::array<Real, kMaxCylinders> prior_odds(const CylinderLife<Real>& life) const noexcept {
        std::array<Real, kMaxCylinders> odds{};
        for (int k = 0; k < orders_.firings(); ++k)
            odds[static_cast<std::size_t>(k)] = hardened() * (held_[static_cast<std::size_t>(k)] ? kHeld : -kHardened) -
                                                kRarely - std::max(life.losses(k), Real(0));
        return odds;
    }

    /// What is given back to each member of a set that lies evenly: it may be found late (who was found before needs no more for that), and
    /// that it never loses a work tells for it, for hardly anything else does. One alone stands out by its orders, and most healthy cylinders
    /// never lose one either.
    [[nodiscard]] std::array<Real, kMaxCylinders> even_odds(const CylinderLife<Real>& life) const noexcept {
        std::array<Real, kMaxCylinders> odds{};
        for (int k = 0; k < orders_.firings(); ++k) {
            Real& one = odds[static_cast<std::size_t>(k)];
            if (!held_[static_cast<std::size_t>(k)]) one = hardened() * (kHardened - kHeld);
            one -= std::min(life.losses(k), Real(0));
        }
        return odds;
    }

    /// What all cylinders share is known to some extent: means, and inverse variances of the deviations from them.
    void shared_prior(const LearnedPattern<Real>& pattern, Side& mean, Side& prior) const noexcept {
        const int first = orders_.firings();
        const auto inverse = [](Real deviation) { return Real(1) / (deviation * deviation); };
        prior.head(first).setConstant(inverse(kSpread));
        // Inertia shares, and so the mode's part at the sensor, are known to a factor of two or so.
        mean[first + CylinderOrders::kCombustion] = Real(1);
        prior[first + CylinderOrders::kCombustion] = inverse(Real(0.4));
        mean[first + CylinderOrders::kCompression] = pattern.intake;
        prior[first + CylinderOrders::kCompression] = inverse(Real(0.5) * pattern.intake);
        mean[first + CylinderOrders::kTwistedCombustion] = Real(1);
        prior[first + CylinderOrders::kTwistedCombustion] = inverse(Real(0.8));
        mean[first + CylinderOrders::kTwistedCompression] = pattern.intake;
        prior[first + CylinderOrders::kTwistedCompression] = inverse(Real(0.8) * pattern.intake);
        mean[first + CylinderOrders::kTwistedInertia] = pattern.energy;
        prior[first + CylinderOrders::kTwistedInertia] = inverse(Real(0.8) * pattern.energy);
    }

    void fill_columns(int o, const LearnedPattern<Real>& pattern, int around, typename Model::Shape& f) const noexcept {
        const Real twist = twisting(static_cast<Real>(orders_.per_revolution(o)), mode_at(pattern, around));
        const Complex driveline = bend(o, pattern.speed_rpm, around_at(around));
        const Real delay = around / kResonances % kBurns == 0
                               ? Real(0)
                               : static_cast<Real>(to_rad(static_cast<double>(kLate_deg))) *
                                     static_cast<Real>(orders_.per_revolution(o));
        const Complex late = driveline * std::polar(Real(1), -delay);
        const auto put = [&f, o](int column, Complex value) {
            f(2 * o, column) = value.real();
            f(2 * o + 1, column) = value.imag();
        };
        const int firings = orders_.firings();
        for (int k = 0; k < firings; ++k)
            put(k, late * wide(orders_.lost(o, k)) *
                       (Real(1) - static_cast<Real>(gain_[static_cast<std::size_t>(k)]) * twist));
        put(firings + CylinderOrders::kCombustion, late * wide(orders_.shared(o, CylinderOrders::kCombustion)));
        put(firings + CylinderOrders::kCompression, driveline * wide(orders_.shared(o, CylinderOrders::kCompression)));
        put(firings + CylinderOrders::kTwistedCombustion,
            -twist * late * wide(orders_.shared(o, CylinderOrders::kTwistedCombustion)));
        put(firings + CylinderOrders::kTwistedCompression,
            -twist * driveline * wide(orders_.shared(o, CylinderOrders::kTwistedCompression)));
        put(firings + CylinderOrders::kTwistedInertia,
            -twist * driveline * wide(orders_.shared(o, CylinderOrders::kTwistedInertia)));
    }

    [[nodiscard]] static Complex wide(CylinderOrders::Complex value) noexcept {
        return {static_cast<Real>(value.real()), static_cast<Real>(value.imag())};
    }

    /// Motion of the crank with something sprung on it, over that of the free crank: two inertias, a spring and a damper (any textbook on
    /// vibration).
    [[nodiscard]] Complex bend(int o, Real speed_rpm, const Surrounding& around) const noexcept {
        if (around.resonance_hz <= 0.0F) return Real(1);
        const Real ratio = static_cast<Real>(orders_.per_revolution(o)) * speed_rpm / Real(60) /
                           static_cast<Real>(around.resonance_hz);
        const Complex spring(Real(1), Real(2) * static_cast<Real>(around.damping) * ratio);
        const Real square = ratio * ratio;
        return (spring / (Real(1) + static_cast<Real>(around.inertia_ratio)) - square) / (spring - square);
    }

    /// Answer of the sensor end through the first mode over the rigid answer, per unit gain, below resonance:
    /// order^2 / (mode^2 - order^2). Near and above it nothing is known well enough; variance() shuts that out.
    [[nodiscard]] static Real twisting(Real order, Real mode_per_rev) noexcept {
        const Real ratio2 = order * order / (mode_per_rev * mode_per_rev);
        return ratio2 / std::max(Real(1) - ratio2, Real(0.3));
    }

    /// Variance of one component of the projection at entry o, which is `seen` large.
    [[nodiscard]] Real variance(int o, const LearnedPattern<Real>& pattern, Real seen, int around) const noexcept {
        const auto order = static_cast<Real>(orders_.per_revolution(o));
        const Real mode = mode_at(pattern, around);
        if (is_shut(o, mode)) return Real(1e6);
        Real sum = pattern.doubt * static_cast<Real>(scatter_[static_cast<std::size_t>(o)]);
        if (orders_.holds_wheel_error(o)) sum += wheel_variance(order, pattern.energy, is_eccentric(around));
        // Burn timing differs by 7 degrees or so from what is assumed: each loss is bent by that, so that the square grows with their number.
        const Real bent = Real(0.05) + Real(0.12) * std::min(order, Real(4));
        const Real losses = seen * static_cast<Real>(std::abs(orders_.lost(o, 0)));
        // The mode's frequency and shape are known to a quarter at best.
        const Real twisted = Real(0.3) * twisting(order, mode) * static_cast<Real>(largest_gain_);
        return sum + bent * bent * losses + twisted * twisted + kUnmodelled * kUnmodelled;
    }

    /// Tooth errors of 0.15 degrees rms (engineering range, from memory), and run-out: an angle error of amplitude e at this
    /// order bends the energy by 2 order e, its difference over one bin by order x bin more.
    [[nodiscard]] Real wheel_variance(Real order, Real energy, bool eccentric) const noexcept {
        constexpr Real kTeeth_rad = Real(0.0026);
        const Real run_out_rad = (eccentric ? kEccentric_deg : kTrue_deg) * static_cast<Real>(to_rad(1.0));
        const Real error = order <= Real(1) ? run_out_rad : kTeeth_rad * std::sqrt(Real(2) / static_cast<Real>(teeth_));
        const Real half_bins = Real(0.5) * static_cast<Real>(orders_.bins());
        const Real amplitude =
            Real(2) * order * error * energy * order * static_cast<Real>(orders_.bin_rad()) * half_bins;
        return Real(0.5) * amplitude * amplitude;
    }

    int teeth_ = 2;
    int tracked_ = 0;
    int examined_ = 0;
    int chosen_ = 0;
    Real others_add_ = 0;  // to the log-odds that the chosen surrounding gives, at the last thorough examination
    float largest_gain_ = 0;
    Set last_{};                                               // the last finding
    Set held_{};                                               // the last one that was confirmed
    std::array<float, CylinderOrders::kMaxOrders> scatter_{};  // variance of one component, cycle to cycle
    std::array<float, kMaxCylinders> gain_{};                  // torsion, of each place
    CylinderOrders orders_{};
};

}  // namespace kurbel
