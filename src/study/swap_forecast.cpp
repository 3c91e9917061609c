#include "study/swap_forecast.hpp"

#include <algorithm>
#include <cmath>
#include <random>

namespace kurbel::swap {

namespace {

constexpr int kDraws = 160;
constexpr int kRates = MisfireProcess::kRates;

/// Uniform in 0 to 1, the same on every machine.
class Chance {
  public:
    double operator()() { return static_cast<double>(engine_() >> 11) * 0x1p-53; }

    /// Sum of twelve uniform numbers less six: near enough to normal.
    double normal() {
        double sum = -6.0;
        for (int i = 0; i < 12; ++i) sum += (*this)();
        return sum;
    }

  private:
    std::mt19937_64 engine_{20260};
};

/// One row as it goes on: a way of misfiring, or a healthy rate.
struct Going {
    const MisfireProcess::Way* way = nullptr;
    bool bad = false;
    double healthy_rate = 0.0;

    bool misfire(Chance& chance) {
        if (way == nullptr) return chance() < healthy_rate;
        if (way->independent) return chance() < way->rate;
        const double to_bad = way->bad + (bad ? way->persistence * (1.0 - way->bad) : -way->persistence * way->bad);
        bad = chance() < to_bad;
        return chance() < (bad ? way->lost_bad : way->lost_good);
    }
};

/// A future: AFTER so far, what each row will do, and at which pace. Time is told in cycles at the pace that AFTER had.
struct Future {
    std::vector<Seen> seen;
    std::vector<Going> rows;
    double pace = 1.0;
    std::int64_t cycles = 0;

    void go_on_until(double time, const Case& given, Chance& chance) {
        const auto until = static_cast<std::int64_t>(pace * time);
        for (std::size_t r = 0; r < rows.size(); ++r) {
            FiringRecord more;
            const std::int64_t firings = (given.rows[r].pair() ? 2 : 1) * (until - cycles);
            for (std::int64_t i = 0; i < firings; ++i) more.append(rows[r].misfire(chance));
            seen[r].filter.take(more);
        }
        cycles = until;
        set_elsewhere(seen);
    }
};

std::size_t draw(const std::vector<double>& weights, Chance& chance) {
    double total = 0.0;
    for (const double weight : weights) total += weight;
    double left = chance() * total;
    for (std::size_t i = 0; i < weights.size(); ++i)
        if ((left -= weights[i]) <= 0.0 && weights[i] > 0.0) return i;
    return weights.size() - 1;
}

/// Draws what may have happened, and so what each row will do.
class Drawer {
  public:
    Drawer(const Model& model, const std::vector<Seen>& after, const Posterior& now, double spread)
        : model_(model), after_(after), now_(now), spread_(spread) {
        // Where there is no fault there is nothing to decide: the chance is that of a decision if there is one.
        for (const Weighed& one : now.explanations)
            weights_.push_back(one.what.story == Story::nothing ? 0.0 : one.weight);
    }

    Future future(Chance& chance) const {
        const Explanation& told = now_.explanations[draw(weights_, chance)].what;
        const std::uint32_t faulty = told.free ? free_pattern(told, chance) : ~0U;
        Future made{after_, std::vector<Going>(after_.size()), std::exp(spread_ * chance.normal())};
        const auto healthy = [&](std::size_t r) {
            return (faulty >> r & 1U) == 0 || told.after[r].kind == Cause::Kind::healthy;
        };
        const FalseCalls& calls = draw_calls(told.faulty, healthy, chance);
        for (std::size_t r = 0; r < after_.size(); ++r)
            if (healthy(r))
                made.rows[r].healthy_rate = calls.rate(after_[r]);
            else
                begin(made.rows[r], told.after[r], after_[r], chance);
        return made;
    }

  private:
    /// The rows that are faulty in an explanation that leaves it open.
    std::uint32_t free_pattern(const Explanation& told, Chance& chance) const {
        const std::vector<std::uint32_t> others = told_patterns(model_.moves(), told.faulty);
        std::uint32_t set = 0;
        constexpr int kTries = 100;
        for (int i = 0; i < kTries; ++i) {
            set = 0;
            for (std::size_t r = 0; r < after_.size(); ++r) {
                const double odds =
                    kFaultyFreely / (1.0 - kFaultyFreely) * std::exp(model_.log_gain(told.after[r], after_[r]));
                if (std::isinf(odds) || chance() < odds / (1.0 + odds)) set |= 1U << r;
            }
            if (std::find(others.begin(), others.end(), set) == others.end()) break;
        }
        return set;
    }

    /// One detector reads all rows: what it calls wrongly shows in every healthy one, before and after.
    template <class Healthy>
    const FalseCalls& draw_calls(std::uint32_t faulty_before, const Healthy& healthy, Chance& chance) const {
        std::vector<double> weights;
        for (const FalseCalls& calls : false_calls()) {
            double log = std::log(calls.prior);
            for (std::size_t r = 0; r < after_.size(); ++r) {
                if ((faulty_before >> r & 1U) == 0) log += calls.log_likelihood(model_.before()[r]);
                if (healthy(r)) log += calls.log_likelihood(after_[r]);
            }
            weights.push_back(log);
        }
        const double most = *std::max_element(weights.begin(), weights.end());
        for (double& weight : weights) weight = std::exp(weight - most);
        return false_calls()[draw(weights, chance)];
    }

    void begin(Going& row, const Cause& cause, const Seen& after, Chance& chance) const {
        const auto way = static_cast<int>(draw(model_.ways_after(cause, after), chance));
        row.way = &MisfireProcess::shared().way(way / kRates, way % kRates);
        row.bad = chance() < after.filter.bad(way / kRates, way % kRates);
    }

    const Model& model_;
    const std::vector<Seen>& after_;
    const Posterior& now_;
    double spread_;
    std::vector<double> weights_;
};

/// The share of futures that are decided at `time`.
double share_at(double time, std::vector<Future>& futures, const Case& given, const Model& model, double decide,
                Chance& chance) {
    int count = 0;
    for (Future& future : futures) {
        future.go_on_until(time, given, chance);
        if (model.posterior(future.seen).told(decide) != Story::nothing) ++count;
    }
    return static_cast<double>(count) / static_cast<double>(futures.size());
}

}  // namespace

Forecast forecast(const Case& given, const Model& model, const std::vector<Seen>& after, const Posterior& now,
                  double decide) {
    Chance chance;
    const Drawer drawer(model, after, now, given.pace.spread);
    std::vector<Future> futures;
    for (int i = 0; i < kDraws; ++i) futures.push_back(drawer.future(chance));
    const auto share = [&](double time) { return share_at(time, futures, given, model, decide, chance); };
    Forecast result;
    // Long steps until the chance is reached, then the last one again in short steps.
    constexpr double kFirst = 8.0;
    constexpr double kGrowth = 1.25;
    constexpr int kShortSteps = 10;
    std::vector<Future> earlier;
    double begin = 0.0;
    double end = 0.0;
    while (end < Forecast::kMostCycles && result.chance < Forecast::kChance) {
        earlier = futures;
        begin = end;
        end = std::max(end + kFirst, kGrowth * end);
        result.chance = share(end);
    }
    if (result.chance < Forecast::kChance) return result;
    futures = earlier;
    result.cycles = end;
    result.chance = Forecast::kChance;
    double before = 0.0;
    for (int i = 1; i < kShortSteps; ++i) {
        const double step = (end - begin) / kShortSteps;
        const double now_share = share(begin + step * i);
        if (now_share >= Forecast::kChance) {
            const double part = i > 1 ? (Forecast::kChance - before) / (now_share - before) : 1.0;
            result.cycles = begin + step * (i - 1 + part);
            break;
        }
        before = now_share;
    }
    return result;
}

}  // namespace kurbel::swap
