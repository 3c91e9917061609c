#include "study/swap_model.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace kurbel::swap {

namespace {

constexpr double kNever = -std::numeric_limits<double>::infinity();
constexpr int kRates = MisfireProcess::kRates;
constexpr int kShapes = MisfireProcess::kShapes;

// What a healthy row is called a misfire at: the false-alarm floor, and the share of the others' misfires that is put down to it.
// The floor reaches from the detector's own setting to 0.15 %, about what keeps a 1000-revolution block clean (0.2 %).
constexpr std::array<double, 4> kFloor{2e-5, 1e-4, 4e-4, 1.5e-3};
constexpr std::array<double, 4> kFloorPrior{0.4, 0.3, 0.2, 0.1};
constexpr std::array<double, 3> kMisread{0.0, 0.005, 0.03};
constexpr std::array<double, 3> kMisreadPrior{0.6, 0.25, 0.15};

// A part is moved because its cylinder is suspected, so those are likelier to be faulty than the others.
constexpr double kFaultyMoved = 0.3;
constexpr double kFaultyOther = 0.1;

/// Prior of each story, given whether a moved row was faulty, another one, or none.
constexpr double kFollowed = 0.295;
constexpr double kStayed = 0.295;
constexpr double kVanished = 0.25;
constexpr double kBoth = 0.08;   // both places have it now: the part, and what it met or left
constexpr double kOther = 0.08;  // any other pattern
constexpr double kElsewhereRemains = 0.7;
constexpr double kNothing = 0.8;

double log_sum(double a, double b) {
    if (a < b) std::swap(a, b);
    return b == kNever ? a : a + std::log1p(std::exp(b - a));
}

/// log(exp(a) - exp(b)), where the difference may be lost in rounding: then as small as rounding can hide.
double log_difference(double a, double b) {
    constexpr double kRounding = 1e-13;
    return a + std::log(std::max(-std::expm1(b - a), kRounding));
}

/// How a rate may differ between the recordings, by steps of the rates' grid: mostly a little, sometimes much. Rows sum to 1.
std::vector<double> drift_kernel() {
    std::vector<double> kernel(static_cast<std::size_t>(kRates * kRates));
    for (int from = 0; from < kRates; ++from) {
        std::array<double, 3> total{};
        std::array<std::array<double, static_cast<std::size_t>(kRates)>, 3> part{};
        constexpr std::array<double, 2> kSpread{0.35, 0.8};
        for (int to = 0; to < kRates; ++to) {
            const double step = MisfireProcess::kLogitStep * (to - from);
            for (std::size_t i = 0; i < 3; ++i) {
                const double value = i < 2 ? std::exp(-0.5 * step * step / (kSpread[i] * kSpread[i])) : 1.0;
                part[i][static_cast<std::size_t>(to)] = value;
                total[i] += value;
            }
        }
        constexpr std::array<double, 3> kShare{0.7, 0.28, 0.02};
        for (int to = 0; to < kRates; ++to)
            for (std::size_t i = 0; i < 3; ++i)
                kernel[static_cast<std::size_t>(from * kRates + to)] +=
                    kShare[i] * part[i][static_cast<std::size_t>(to)] / total[i];
    }
    return kernel;
}

std::size_t at(int shape, int rate) { return static_cast<std::size_t>(shape * kRates + rate); }

double way_prior(int shape, int rate) {
    return MisfireProcess::shape_prior(shape) * MisfireProcess::shared().rate_prior(rate);
}

/// Spells mostly last as long as before; but no model of them is quite true, and a long record must not turn on that.
void keep_shape_open(std::vector<double>& ways) {
    constexpr double kOpen = 0.3;
    for (int rate = 0; rate < kRates; ++rate) {
        double sum = 0.0;
        for (int shape = 0; shape < kShapes; ++shape) sum += ways[at(shape, rate)];
        for (int shape = 0; shape < kShapes; ++shape)
            ways[at(shape, rate)] =
                (1.0 - kOpen) * ways[at(shape, rate)] + kOpen * MisfireProcess::shape_prior(shape) * sum;
    }
}

double largest(const ProcessFilter& filter) {
    double most = kNever;
    for (int shape = 0; shape < kShapes; ++shape)
        for (int rate = 0; rate < kRates; ++rate) most = std::max(most, filter.log_likelihood(shape, rate));
    return most;
}

/// Prior over ways, times the likelihoods over their largest; log of the sum goes to `total`.
std::vector<double> fresh_ways(const ProcessFilter& filter, double& total) {
    std::vector<double> ways(static_cast<std::size_t>(MisfireProcess::kWays));
    const double most = largest(filter);
    double sum = 0.0;
    for (int shape = 0; shape < kShapes; ++shape)
        for (int rate = 0; rate < kRates; ++rate)
            sum += ways[at(shape, rate)] = way_prior(shape, rate) * std::exp(filter.log_likelihood(shape, rate) - most);
    total = most + std::log(sum);
    return ways;
}

/// log sum over ways of weight x likelihood.
double weighed(const std::vector<double>& weights, double log_scale, const ProcessFilter& filter) {
    const double most = largest(filter);
    double sum = 0.0;
    for (int shape = 0; shape < kShapes; ++shape)
        for (int rate = 0; rate < kRates; ++rate)
            sum += weights[at(shape, rate)] * std::exp(filter.log_likelihood(shape, rate) - most);
    return log_scale + most + std::log(std::max(sum, 1e-300));
}

}  // namespace

double healthy_log_likelihood(std::int64_t firings, std::int64_t misfires, double elsewhere) noexcept {
    double total = kNever;
    for (std::size_t f = 0; f < kFloor.size(); ++f)
        for (std::size_t m = 0; m < kMisread.size(); ++m) {
            const double rate = std::min(kFloor[f] + kMisread[m] * elsewhere, 0.5);
            total = log_sum(total, std::log(kFloorPrior[f] * kMisreadPrior[m]) +
                                       static_cast<double>(misfires) * std::log(rate) +
                                       static_cast<double>(firings - misfires) * std::log1p(-rate));
        }
    return total;
}

double draw_healthy_rate(std::int64_t firings, std::int64_t misfires, double elsewhere, double u) noexcept {
    const double all = healthy_log_likelihood(firings, misfires, elsewhere);
    double passed = 0.0;
    double rate = kFloor[0];
    for (std::size_t f = 0; f < kFloor.size(); ++f)
        for (std::size_t m = 0; m < kMisread.size(); ++m) {
            rate = std::min(kFloor[f] + kMisread[m] * elsewhere, 0.5);
            passed +=
                std::exp(std::log(kFloorPrior[f] * kMisreadPrior[m]) + static_cast<double>(misfires) * std::log(rate) +
                         static_cast<double>(firings - misfires) * std::log1p(-rate) - all);
            if (passed >= u) return rate;
        }
    return rate;
}

void set_elsewhere(std::vector<Seen>& seen) noexcept {
    double sum = 0.0;
    const auto rate = [](const Seen& s) {
        return s.filter.firings() > 0
                   ? static_cast<double>(s.filter.misfires()) / static_cast<double>(s.filter.firings())
                   : 0.0;
    };
    for (const Seen& s : seen) sum += rate(s);
    for (Seen& s : seen) s.elsewhere = sum - rate(s);
}

std::vector<Seen> see(const std::vector<Row>& rows, FiringRecord Row::*record) {
    std::vector<Seen> seen(rows.size());
    for (std::size_t r = 0; r < rows.size(); ++r) seen[r].filter.take(rows[r].*record);
    set_elsewhere(seen);
    return seen;
}

Model::Model(const Case& given) : targets_(given.targets) {
    static const std::vector<double> kDrift = drift_kernel();
    const std::vector<Seen> before = see(given.rows, &Row::before);
    fresh_.assign(static_cast<std::size_t>(MisfireProcess::kWays), 0.0);
    for (int shape = 0; shape < kShapes; ++shape)
        for (int rate = 0; rate < kRates; ++rate) fresh_[at(shape, rate)] = way_prior(shape, rate);
    for (std::size_t r = 0; r < before.size(); ++r) {
        if (given.rows[r].moved) moved_ |= 1U << r;
        const ProcessFilter& filter = before[r].filter;
        healthy_before_.push_back(healthy_log_likelihood(filter.firings(), filter.misfires(), before[r].elsewhere));
        double total = 0.0;
        const std::vector<double> ways = fresh_ways(filter, total);
        faulty_before_.push_back(total);
        std::vector<double> carried(ways.size(), 0.0);
        for (int shape = 0; shape < kShapes; ++shape)
            for (int from = 0; from < kRates; ++from)
                for (int to = 0; to < kRates; ++to)
                    carried[at(shape, to)] +=
                        ways[at(shape, from)] * kDrift[static_cast<std::size_t>(from * kRates + to)];
        keep_shape_open(carried);
        carried_.push_back(std::move(carried));
        carried_scale_.push_back(largest(filter));
    }
    list_faulty_sets();
}

/// Prior odds of row r being faulty before.
double Model::log_odds(int r) const noexcept {
    const double p = (moved_ >> r & 1U) != 0 ? kFaultyMoved : kFaultyOther;
    return std::log(p / (1.0 - p));
}

/// Sets of faulty rows, without rows that are certainly one or the other being taken both ways.
void Model::list_faulty_sets() {
    constexpr double kCertain = 15.0;
    constexpr std::size_t kMostOpen = 10;
    std::vector<std::pair<double, int>> open;
    std::uint32_t base = 0;
    for (int r = 0; r < rows(); ++r) {
        const auto i = static_cast<std::size_t>(r);
        const double odds = faulty_before_[i] - healthy_before_[i] + log_odds(r);
        if (odds > kCertain)
            base |= 1U << r;
        else if (odds > -kCertain)
            open.emplace_back(std::fabs(odds), r);
    }
    std::sort(open.begin(), open.end());
    for (std::size_t i = kMostOpen; i < open.size(); ++i) {
        const auto r = static_cast<std::size_t>(open[i].second);
        if (faulty_before_[r] > healthy_before_[r]) base |= 1U << r;
    }
    open.resize(std::min(open.size(), kMostOpen));
    for (std::uint32_t choice = 0; choice < 1U << open.size(); ++choice) {
        std::uint32_t set = base;
        for (std::size_t i = 0; i < open.size(); ++i)
            if ((choice >> i & 1U) != 0) set |= 1U << open[i].second;
        sets_.push_back(set);
    }
}

std::uint32_t Model::pattern_after(std::uint32_t faulty, int map) const noexcept {
    if (map < 0) return faulty;
    std::uint32_t after = 0;
    for (int r = 0; r < rows(); ++r)
        if ((faulty >> r & 1U) != 0)
            after |= 1U << targets_[static_cast<std::size_t>(map)][static_cast<std::size_t>(r)];
    return after;
}

std::vector<double> Model::ways_after(int source, const Seen& after) const {
    std::vector<double> ways = source < 0 ? fresh_ : carried_[static_cast<std::size_t>(source)];
    const double most = largest(after.filter);
    for (int shape = 0; shape < kShapes; ++shape)
        for (int rate = 0; rate < kRates; ++rate)
            ways[at(shape, rate)] *= std::exp(after.filter.log_likelihood(shape, rate) - most);
    return ways;
}

Posterior Model::posterior(const std::vector<Seen>& after) const {
    const auto n = static_cast<std::size_t>(rows());
    std::vector<double> healthy(n);
    std::vector<double> faulty(n);  // log, over healthy
    double any = 0.0;               // log of all patterns after, over all being healthy
    const double log_faulty = std::log(kFaultyAfter);
    const double log_healthy = std::log1p(-kFaultyAfter);
    for (std::size_t r = 0; r < n; ++r) {
        healthy[r] = healthy_log_likelihood(after[r].filter.firings(), after[r].filter.misfires(), after[r].elsewhere);
        faulty[r] = weighed(fresh_, 0.0, after[r].filter) - healthy[r];
        any += log_sum(log_healthy, log_faulty + faulty[r]);
    }
    // Likelihood of row `to` after being faulty by what row `from` had before, both over being healthy.
    std::vector<double> joint(n * n, kUnknown);
    const auto carried = [&](int from, int to) {
        double& value = joint[static_cast<std::size_t>(from) * n + static_cast<std::size_t>(to)];
        if (std::isnan(value))
            value = weighed(carried_[static_cast<std::size_t>(from)], carried_scale_[static_cast<std::size_t>(from)],
                            after[static_cast<std::size_t>(to)].filter) -
                    healthy_before_[static_cast<std::size_t>(from)] - healthy[static_cast<std::size_t>(to)];
        return value;
    };
    const auto pattern = [&](std::uint32_t set) {  // log of prior and likelihood of these faulty after, drawn freely
        double sum = 0.0;
        for (std::size_t r = 0; r < n; ++r) sum += (set >> r & 1U) != 0 ? log_faulty + faulty[r] : log_healthy;
        return sum;
    };
    const auto prior_of = [&](std::uint32_t set) {  // the same without the likelihood
        double sum = 0.0;
        for (std::size_t r = 0; r < n; ++r) sum += (set >> r & 1U) != 0 ? log_faulty : log_healthy;
        return sum;
    };

    const auto fresh_over_healthy = [&](std::uint32_t set) {
        double sum = 0.0;
        for (std::size_t r = 0; r < n; ++r) sum += (set >> r & 1U) != 0 ? faulty[r] : 0.0;
        return sum;
    };

    Posterior result;
    double most = kNever;
    const auto add = [&](std::uint32_t set, Story story, bool paired, int map, double log_weight,
                         std::uint32_t added = 0) {
        result.explanations.push_back({set, story, paired, map, log_weight, added});
        most = std::max(most, log_weight);
    };
    const auto maps = static_cast<int>(targets_.size());
    for (const std::uint32_t set : sets_) {
        double prior = 0.0;
        double before = 0.0;
        for (int r = 0; r < rows(); ++r) {
            const bool is_faulty = (set >> r & 1U) != 0;
            prior += is_faulty ? log_odds(r) : 0.0;
            if (is_faulty)
                before += faulty_before_[static_cast<std::size_t>(r)] - healthy_before_[static_cast<std::size_t>(r)];
        }
        const auto moved_with = [&](int map) {
            double sum = 0.0;
            for (int r = 0; r < rows(); ++r)
                if ((set >> r & 1U) != 0)
                    sum +=
                        carried(r, map < 0 ? r : targets_[static_cast<std::size_t>(map)][static_cast<std::size_t>(r)]);
            return sum;
        };
        // Free patterns, less those that have a story of their own.
        std::vector<std::uint32_t> own{0U};
        if (set != 0) own.push_back(set);
        if (touches_moved(set))
            for (int map = 0; map < maps; ++map) {
                own.push_back(pattern_after(set, map));
                own.push_back(pattern_after(set, map) | set);
            }
        std::sort(own.begin(), own.end());
        own.erase(std::unique(own.begin(), own.end()), own.end());
        double rest = any;
        double rest_prior = 0.0;
        for (const std::uint32_t one : own) {
            rest = log_difference(rest, pattern(one));
            rest_prior = log_difference(rest_prior, prior_of(one));
        }
        const double free = before + rest - rest_prior;
        if (set == 0) {
            add(set, Story::nothing, false, -1, prior + std::log(kNothing));
            add(set, Story::other, false, -1, prior + std::log(1.0 - kNothing) + free);
            continue;
        }
        add(set, Story::vanished, false, -1, prior + std::log(kVanished) + before);
        add(set, Story::other, false, -1, prior + std::log(kOther) + free);
        if (!touches_moved(set)) {
            add(set, Story::other, true, -1, prior + std::log(kElsewhereRemains) + moved_with(-1));
            continue;
        }
        add(set, Story::stayed, true, -1, prior + std::log(kStayed) + moved_with(-1));
        for (int map = 0; map < maps; ++map) {
            add(set, Story::followed, true, map, prior + std::log(kFollowed / maps) + moved_with(map));
            // What is new where the part went (or remained where it was) has a rate of its own.
            const std::uint32_t there = pattern_after(set, map);
            if ((there | set) == set) continue;
            const double new_there = fresh_over_healthy(there & ~set);
            const double still_here = fresh_over_healthy(set & ~there);
            add(set, Story::other, true, -1, prior + std::log(0.5 * kBoth / maps) + moved_with(-1) + new_there,
                there & ~set);
            add(set, Story::other, true, map, prior + std::log(0.5 * kBoth / maps) + moved_with(map) + still_here,
                set & ~there);
        }
    }
    double total = 0.0;
    for (Explanation& e : result.explanations) total += e.weight = std::exp(e.weight - most);
    for (Explanation& e : result.explanations) {
        e.weight /= total;
        result.probability[static_cast<std::size_t>(e.story)] += e.weight;
    }
    std::erase_if(result.explanations, [](const Explanation& e) { return e.weight < 1e-6; });
    return result;
}

}  // namespace kurbel::swap
