#include "study/swap_forecast.hpp"

#include <algorithm>
#include <bit>
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

/// A future: AFTER so far, and what each row will do.
struct Future {
    std::vector<Seen> seen;
    std::vector<Going> rows;
};

std::size_t draw(const std::vector<double>& weights, Chance& chance) {
    double total = 0.0;
    for (const double weight : weights) total += weight;
    double left = chance() * total;
    for (std::size_t i = 0; i < weights.size(); ++i)
        if ((left -= weights[i]) <= 0.0 && weights[i] > 0.0) return i;
    return weights.size() - 1;
}

class Drawer {
  public:
    Drawer(const Case& given, const Model& model, const std::vector<Seen>& after, const Posterior& now)
        : given_(given), model_(model), after_(after), now_(now) {
        // Where there is no fault there is nothing to decide: the chance is that of a decision if there is one.
        for (const Explanation& e : now.explanations) weights_.push_back(e.story == Story::nothing ? 0.0 : e.weight);
        for (const Seen& seen : after) {
            double faulty = 0.0;
            double most = -1e300;
            for (int way = 0; way < MisfireProcess::kWays; ++way)
                most = std::max(most, seen.filter.log_likelihood(way / kRates, way % kRates));
            for (const double weight : model.ways_after(-1, seen)) faulty += weight;
            const double healthy =
                healthy_log_likelihood(seen.filter.firings(), seen.filter.misfires(), seen.elsewhere);
            const double odds =
                Model::kFaultyAfter / (1.0 - Model::kFaultyAfter) * std::exp(most + std::log(faulty) - healthy);
            free_.push_back(std::isfinite(odds) ? odds / (1.0 + odds) : 1.0);
        }
    }

    Future future(Chance& chance) {
        const Explanation& told = now_.explanations[draw(weights_, chance)];
        Future made;
        made.seen = after_;
        made.rows.resize(after_.size());
        const std::uint32_t faulty = pattern(told, chance);
        for (std::size_t r = 0; r < after_.size(); ++r)
            if ((faulty >> r & 1U) == 0) {
                const ProcessFilter& filter = after_[r].filter;
                made.rows[r].healthy_rate =
                    draw_healthy_rate(filter.firings(), filter.misfires(), after_[r].elsewhere, chance());
            } else {
                begin(made.rows[r], source(told, static_cast<int>(r)), r, chance);
            }
        return made;
    }

  private:
    /// The rows that are faulty after.
    std::uint32_t pattern(const Explanation& told, Chance& chance) const {
        if (told.paired) return model_.pattern_after(told.faulty, told.map) | told.added;
        if (told.story != Story::other) return 0;
        std::vector<std::uint32_t> own{0U, told.faulty};
        if (model_.touches_moved(told.faulty))
            for (std::size_t map = 0; map < given_.targets.size(); ++map)
                for (const std::uint32_t also : {0U, told.faulty})
                    own.push_back(model_.pattern_after(told.faulty, static_cast<int>(map)) | also);
        std::uint32_t set = 0;
        constexpr int kTries = 100;
        for (int i = 0; i < kTries; ++i) {
            set = 0;
            for (std::size_t r = 0; r < free_.size(); ++r)
                if (chance() < free_[r]) set |= 1U << r;
            if (std::find(own.begin(), own.end(), set) == own.end()) break;
        }
        return set;
    }

    [[nodiscard]] int source(const Explanation& told, int row) const {
        if (!told.paired || (told.added >> row & 1U) != 0) return -1;
        if (told.map < 0) return row;
        const std::vector<int>& map = given_.targets[static_cast<std::size_t>(told.map)];
        for (std::size_t from = 0; from < map.size(); ++from)
            if (map[from] == row && (told.faulty >> from & 1U) != 0) return static_cast<int>(from);
        return -1;
    }

    void begin(Going& row, int source, std::size_t r, Chance& chance) const {
        const auto way = static_cast<int>(draw(model_.ways_after(source, after_[r]), chance));
        row.way = &MisfireProcess::shared().way(way / kRates, way % kRates);
        row.bad = chance() < after_[r].filter.bad(way / kRates, way % kRates);
    }

    const Case& given_;
    const Model& model_;
    const std::vector<Seen>& after_;
    const Posterior& now_;
    std::vector<double> weights_;
    std::vector<double> free_;  // probability that a row is faulty after, in stories that say nothing of it
};

void go_on(const Case& given, Future& future, int cycles, Chance& chance) {
    for (std::size_t r = 0; r < future.rows.size(); ++r) {
        FiringRecord more;
        const int firings = given.rows[r].pair() ? 2 * cycles : cycles;
        for (int i = 0; i < firings; ++i) more.append(future.rows[r].misfire(chance));
        future.seen[r].filter.take(more);
    }
    set_elsewhere(future.seen);
}

}  // namespace

Forecast forecast(const Case& given, const Model& model, const std::vector<Seen>& after, const Posterior& now,
                  double decide) {
    Chance chance;
    Drawer drawer(given, model, after, now);
    std::vector<Future> futures;
    for (int i = 0; i < kDraws; ++i) futures.push_back(drawer.future(chance));
    Forecast result;
    constexpr int kFirstCycles = 8;
    constexpr double kGrowth = 1.25;
    double total = 0.0;
    double step = kFirstCycles;
    double share_before = 0.0;
    while (total < Forecast::kMostCycles) {
        int count = 0;
        for (Future& future : futures) {
            go_on(given, future, static_cast<int>(step), chance);
            if (model.posterior(future.seen).told(decide) != Story::nothing) ++count;
        }
        const double share = static_cast<double>(count) / kDraws;
        const double now_total = total + std::floor(step);
        result.chance = share;
        if (share >= Forecast::kChance) {
            const double part =
                share > share_before ? (Forecast::kChance - share_before) / (share - share_before) : 1.0;
            result.cycles = std::ceil(total + part * (now_total - total));
            result.chance = Forecast::kChance;
            return result;
        }
        share_before = share;
        total = now_total;
        step = std::max(kFirstCycles * 1.0, (kGrowth - 1.0) * total);
    }
    return result;
}

}  // namespace kurbel::swap
