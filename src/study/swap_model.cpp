#include "study/swap_model.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace kurbel::swap {

namespace {

// A part is moved because its cylinder is suspected, so those are likelier to be faulty than the others.
constexpr double kFaultyMoved = 0.3;
constexpr double kFaultyOther = 0.1;

/// log(exp(a) - exp(b)), where the difference may be lost in rounding: then as small as rounding can hide.
double log_difference(double a, double b) {
    constexpr double kRounding = 1e-13;
    return a + std::log(std::max(-std::expm1(b - a), kRounding));
}

/// Gains of every row for every cause, worked out where they are asked for.
class Gains {
  public:
    Gains(const Model& model, const std::vector<Seen>& after)
        : model_(model), after_(after), known_(after.size() * kCauses, kUnknown) {}

    double operator()(std::size_t row, const Cause& cause) {
        if (cause.kind == Cause::Kind::healthy) return 0.0;
        const std::size_t source = cause.kind == Cause::Kind::fresh ? 0 : cause.row;
        const auto kind = static_cast<std::size_t>(cause.kind) - 1;
        double& value = known_[row * kCauses + kind * kMaxCylinders + source];
        if (std::isnan(value)) value = model_.log_gain(cause, after_[row]);
        return value;
    }

  private:
    static constexpr std::size_t kCauses = 3 * kMaxCylinders;
    const Model& model_;
    const std::vector<Seen>& after_;
    std::vector<double> known_;
};

}  // namespace

Model::Model(const Case& given) : before_(see(given.rows, &Row::before)) {
    moves_.rows = static_cast<int>(before_.size());
    moves_.targets = given.targets;
    std::vector<double> log_odds;
    for (std::size_t r = 0; r < before_.size(); ++r) {
        const bool moved = given.rows[r].moved;
        if (moved) moves_.moved |= 1U << r;
        const double p = moved ? kFaultyMoved : kFaultyOther;
        log_odds.push_back(std::log(p / (1.0 - p)) + log_likelihood(fresh_ways(), before_[r].filter) -
                           healthy_log_likelihood(before_[r]));
        carried_.push_back(carried_ways(before_[r].filter));
    }
    for (const Open& open : faulty_sets(log_odds)) add_stories(moves_, open.faulty, open.log_weight, explanations_);
}

/// Sets of faulty rows, without rows that are certainly one or the other being taken both ways.
std::vector<Model::Open> Model::faulty_sets(const std::vector<double>& log_odds) const {
    constexpr double kCertain = 15.0;
    constexpr std::size_t kMostOpen = 10;
    std::vector<std::pair<double, std::size_t>> open;
    std::uint32_t base = 0;
    for (std::size_t r = 0; r < log_odds.size(); ++r) {
        if (log_odds[r] > kCertain)
            base |= 1U << r;
        else if (log_odds[r] > -kCertain)
            open.emplace_back(std::fabs(log_odds[r]), r);
    }
    std::sort(open.begin(), open.end());
    for (std::size_t i = kMostOpen; i < open.size(); ++i)
        if (log_odds[open[i].second] > 0.0) base |= 1U << open[i].second;
    open.resize(std::min(open.size(), kMostOpen));
    std::vector<Open> sets;
    double most = -std::numeric_limits<double>::infinity();
    for (std::uint32_t choice = 0; choice < 1U << open.size(); ++choice) {
        Open set{base, 0.0};
        for (std::size_t i = 0; i < open.size(); ++i)
            if ((choice >> i & 1U) != 0) set.faulty |= 1U << open[i].second;
        for (std::size_t r = 0; r < log_odds.size(); ++r)
            if ((set.faulty >> r & 1U) != 0) set.log_weight += log_odds[r];
        most = std::max(most, set.log_weight);
        sets.push_back(set);
    }
    std::erase_if(sets, [&](const Open& set) { return set.log_weight < most - 2.0 * kCertain; });
    return sets;
}

Ways Model::ways_after(const Cause& cause, const Seen& after) const {
    switch (cause.kind) {
        case Cause::Kind::same: return weighed(carried_[cause.row], after.filter);
        case Cause::Kind::alike: {
            Ways ways = carried_[cause.row];
            for (std::size_t i = 0; i < ways.size(); ++i) ways[i] = 0.5 * (ways[i] + fresh_ways()[i]);
            return weighed(ways, after.filter);
        }
        default: return weighed(fresh_ways(), after.filter);
    }
}

double Model::log_gain(const Cause& cause, const Seen& after) const {
    const double healthy = healthy_log_likelihood(after);
    switch (cause.kind) {
        case Cause::Kind::healthy: return 0.0;
        case Cause::Kind::fresh: return log_likelihood(fresh_ways(), after.filter) - healthy;
        case Cause::Kind::same: return log_likelihood(carried_[cause.row], after.filter) - healthy;
        case Cause::Kind::alike: break;
    }
    return std::log(0.5) +
           log_sum(log_likelihood(fresh_ways(), after.filter), log_likelihood(carried_[cause.row], after.filter)) -
           healthy;
}

/// Log likelihood over all patterns but those of other stories, each row faulty with kFaultyFreely; `gain` by row.
double Model::log_free(const Explanation& one, const std::vector<double>& gain) const {
    const double log_faulty = std::log(kFaultyFreely);
    const double log_healthy = std::log1p(-kFaultyFreely);
    double all = 0.0;
    double all_prior = 0.0;
    for (const double g : gain) all += log_sum(log_healthy, log_faulty + g);
    for (const std::uint32_t told : told_patterns(moves_, one.faulty)) {
        double pattern = 0.0;
        double prior = 0.0;
        for (std::size_t r = 0; r < gain.size(); ++r) {
            const bool is_faulty = (told >> r & 1U) != 0;
            prior += is_faulty ? log_faulty : log_healthy;
            pattern += is_faulty ? log_faulty + gain[r] : log_healthy;
        }
        all = log_difference(all, pattern);
        all_prior = log_difference(all_prior, prior);
    }
    return all - all_prior;
}

Posterior Model::posterior(const std::vector<Seen>& after) const {
    Gains gains(*this, after);
    std::vector<double> log_weight;
    std::vector<double> gain(after.size());
    for (const Explanation& one : explanations_) {
        double sum = 0.0;
        for (std::size_t r = 0; r < after.size(); ++r) sum += gain[r] = gains(r, one.after[r]);
        log_weight.push_back(one.prior + (one.free ? log_free(one, gain) : sum));
    }
    const double most = *std::max_element(log_weight.begin(), log_weight.end());
    double total = 0.0;
    for (const double weight : log_weight) total += std::exp(weight - most);
    Posterior result;
    constexpr double kWeighsNothing = 1e-6;
    for (std::size_t i = 0; i < log_weight.size(); ++i) {
        const double weight = std::exp(log_weight[i] - most) / total;
        result.probability[static_cast<std::size_t>(explanations_[i].story)] += weight;
        if (weight >= kWeighsNothing) result.explanations.push_back({explanations_[i], weight});
    }
    return result;
}

}  // namespace kurbel::swap
