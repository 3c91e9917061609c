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
#include "kurbel/stage/surrounding.hpp"

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
        Real odds = 0;  ///< logarithm of them, that some do
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
        died_.fill(false);
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
            look(Around(chosen_).other_wheel(), odds);  // whether the wheel is what is odd
            return odds;
        };
        const bool all = examined_++ < kThorough;
        Odds odds;
        if (!all) odds = look_at_chosen();
        // Later on what all the others add to the odds is taken as it was then; one of them is tried in turn.
        const Real later = odds.odds() + others_add_;
        for (int i = 0; i < (all ? Around::kCount : 1); ++i) look((examined_ + i) % Around::kCount, odds);
        const auto& best = odds.best((all ? odds.odds() : later) > Real(0));
        chosen_ = best.around;
        if (all) {
            // Where the chosen ones have no dead set to offer, what the others add to one is not known.
            const Odds of_chosen = look_at_chosen();
            others_add_ =
                of_chosen.any_dead() ? std::clamp(odds.odds() - of_chosen.odds(), -kMostAdded, kMostAdded) : Real(0);
        }
        Finding finding = find(model(pattern, projected, chosen_), best.explanation);
        finding.odds = all ? odds.odds() : later;
        return finding;
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
        died_[static_cast<std::size_t>(place)] = false;
        last_[static_cast<std::size_t>(place)] = false;
    }

    /// A place was seen to die: the pattern holds that from now on.
    void convict(int place) noexcept {
        held_[static_cast<std::size_t>(place)] = true;
        last_[static_cast<std::size_t>(place)] = true;
        died_[static_cast<std::size_t>(place)] = true;
    }

    [[nodiscard]] bool saw_die(int place) const noexcept { return died_[static_cast<std::size_t>(place)]; }

    /// True where the finding before this one named the same places.
    [[nodiscard]] bool confirmed(const Finding& finding) noexcept {
        const bool same = finding.missing == last_;
        last_ = finding.missing;
        if (same) held_ = finding.missing;
        return same;
    }

  private:
    using Around = Surrounding<Real>;
    static constexpr Real kUnmodelled = Real(0.05);  // of one loss, at any order
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
    static constexpr Real kDied = Real(20);  // log-odds of one that was seen to die
    static constexpr int kHardening = 200;   // cycles
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

    /// An entry's cycles a revolution.
    [[nodiscard]] Real order(int o) const noexcept { return static_cast<Real>(orders_.per_revolution(o)); }

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
            m.weight[2 * o] = m.weight[2 * o + 1] = Real(1) / variance(o, pattern, size_of(seen), around);
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
            sum += Around::is_shut(order(o), Around(around).mode(pattern.mode_per_rev))
                       ? Real(-2) * std::log1p(size_of(projected[static_cast<std::size_t>(o)]))
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
        Explanation e;
        e.gain = sets.best(e.missing);
        e.evidence = e.gain + fit.evidence() + surprise(m, pattern, projected, around) + Around(around).usual();
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
            odds[static_cast<std::size_t>(k)] =
                died_[static_cast<std::size_t>(k)]
                    ? kDied
                    : hardened() * (held_[static_cast<std::size_t>(k)] ? kHeld : -kHardened) - kRarely -
                          std::max(life.losses(k), Real(0));
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
        // Inertia shares, and so the mode's part at the sensor, are known to a factor of two or so, and so is the work.
        mean[first + CylinderOrders::kCombustion] = Real(1);
        prior[first + CylinderOrders::kCombustion] = inverse(Real(0.4));
        mean[first + CylinderOrders::kCompression] = pattern.intake;
        prior[first + CylinderOrders::kCompression] = inverse(Real(0.5) * pattern.intake);
        mean[first + CylinderOrders::kTwistedCombustion] = Real(1);
        prior[first + CylinderOrders::kTwistedCombustion] = inverse(Real(1.6));
        mean[first + CylinderOrders::kTwistedCompression] = pattern.intake;
        prior[first + CylinderOrders::kTwistedCompression] = inverse(Real(1.6) * pattern.intake);
        mean[first + CylinderOrders::kTwistedInertia] = pattern.energy;
        prior[first + CylinderOrders::kTwistedInertia] = inverse(Real(1.6) * pattern.energy);
    }

    void fill_columns(int o, const LearnedPattern<Real>& pattern, int around, typename Model::Shape& f) const noexcept {
        const Around there(around);
        const Real twist = Around::twisting(order(o), there.mode(pattern.mode_per_rev));
        const Complex driveline = there.driveline(order(o), pattern.speed_rpm);
        const Complex late = driveline * there.burn(order(o));
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

    /// Far from where a square would overflow; and complex numbers' own would be one more function for the core to call.
    [[nodiscard]] static Real size_of(Complex value) noexcept { return std::sqrt(std::norm(value)); }
    [[nodiscard]] static Complex wide(CylinderOrders::Complex value) noexcept {
        return {static_cast<Real>(value.real()), static_cast<Real>(value.imag())};
    }

    /// Variance of one component of the projection at entry o, which is `seen` large.
    [[nodiscard]] Real variance(int o, const LearnedPattern<Real>& pattern, Real seen, int around) const noexcept {
        const Around there(around);
        const Real mode = there.mode(pattern.mode_per_rev);
        if (Around::is_shut(order(o), mode)) return Real(1e6);
        Real sum = pattern.doubt * static_cast<Real>(scatter_[static_cast<std::size_t>(o)]);
        if (orders_.holds_wheel_error(o))
            sum += there.wheel_variance(order(o), pattern.energy, teeth_, static_cast<Real>(orders_.bin_rad()),
                                        orders_.bins());
        // Burn timing differs by 7 degrees or so from what is assumed: each loss is bent by that, so that the square grows with their number.
        const Real bent = Real(0.05) + Real(0.12) * std::min(order(o), Real(4));
        const Real losses = seen * size_of(wide(orders_.lost(o, 0)));
        // The mode's frequency and shape are known to a quarter at best.
        const Real twisted = Real(0.3) * Around::twisting(order(o), mode) * static_cast<Real>(largest_gain_);
        return sum + bent * bent * losses + twisted * twisted + kUnmodelled * kUnmodelled;
    }

    int teeth_ = 2;
    int tracked_ = 0;
    int examined_ = 0;
    int chosen_ = 0;
    Real others_add_ = 0;  // to the log-odds that the chosen surrounding gives, at the last thorough examination
    float largest_gain_ = 0;
    Set last_{};                                               // the last finding
    Set died_{};                                               // seen to
    Set held_{};                                               // the last one that was confirmed
    std::array<float, CylinderOrders::kMaxOrders> scatter_{};  // variance of one component, cycle to cycle
    std::array<float, kMaxCylinders> gain_{};                  // torsion, of each place
    CylinderOrders orders_{};
};

}  // namespace kurbel
