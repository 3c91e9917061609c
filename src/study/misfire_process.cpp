#include "kurbel/study/misfire_process.hpp"

#include <algorithm>
#include <limits>

namespace kurbel {

namespace {

constexpr double kLostGood = 2e-4;  // of the firings in a good spell
constexpr std::array<double, MisfireProcess::kShapes> kPersistence{0.0, 0.6, 0.6, 0.85, 0.85, 0.95, 0.95, 0.985, 0.985};
constexpr std::array<double, MisfireProcess::kShapes> kDuty{1.0, 1.0, 0.5, 1.0, 0.5, 1.0, 0.5, 1.0, 0.5};

MisfireProcess::Way make_way(int shape, double rate) {
    const auto s = static_cast<std::size_t>(shape);
    MisfireProcess::Way way;
    way.rate = rate;
    way.independent = shape == 0;
    way.possible = true;
    if (way.independent) return way;
    way.persistence = kPersistence[s];
    way.lost_good = kLostGood;
    way.lost_bad = kDuty[s] < 1.0 ? kDuty[s] : 1.0 - kLostGood;
    way.bad = (rate - way.lost_good) / (way.lost_bad - way.lost_good);
    // A chain that is nearly always bad is the independent way once more.
    way.possible = way.bad > 0.0 && way.bad < 0.98;
    if (!way.possible) return way;
    const double to_bad = way.bad * (1.0 - way.persistence);
    const double to_good = (1.0 - way.bad) * (1.0 - way.persistence);
    const double good = 1.0 - way.lost_good;
    const double bad = 1.0 - way.lost_bad;
    way.burnt = {good * (1.0 - to_bad), good * to_good, bad * to_bad, bad * (1.0 - to_good)};
    const double half = 0.5 * (way.burnt[0] + way.burnt[3]);
    const double root =
        std::sqrt(0.25 * (way.burnt[0] - way.burnt[3]) * (way.burnt[0] - way.burnt[3]) + way.burnt[1] * way.burnt[2]);
    way.eigen1 = half + root;
    way.eigen2 = half - root;
    way.log_eigen1 = std::log(way.eigen1);
    way.log_ratio = way.eigen2 > 0.0 ? std::log(way.eigen2 / way.eigen1) : -std::numeric_limits<double>::infinity();
    return way;
}

}  // namespace

MisfireProcess::MisfireProcess() {
    for (int shape = 0; shape < kShapes; ++shape)
        for (int rate = 0; rate < kRates; ++rate)
            ways_[static_cast<std::size_t>(shape * kRates + rate)] = make_way(shape, rate_of(rate));
    double sum = 0.0;
    for (int rate = 0; rate < kRates; ++rate)
        // A step in the logit is 1 - rate times as long in log rate; a cylinder that is quite dead has its own share.
        sum += rate_prior_[static_cast<std::size_t>(rate)] = std::max(1.0 - rate_of(rate), 0.1);
    for (double& prior : rate_prior_) prior /= sum;
}

double MisfireProcess::shape_prior(int shape) noexcept {
    // The longer the spells, the rarer: nothing else is known of them beforehand.
    constexpr std::array<double, kShapes> kPrior{0.44, 0.14, 0.14, 0.09, 0.09, 0.035, 0.035, 0.015, 0.015};
    return kPrior[static_cast<std::size_t>(shape)];
}

const MisfireProcess& MisfireProcess::shared() {
    static const MisfireProcess process;
    return process;
}

ProcessFilter::ProcessFilter()
    : log_(static_cast<std::size_t>(MisfireProcess::kWays), 0.0),
      bad_(static_cast<std::size_t>(MisfireProcess::kWays), 0.0) {
    const MisfireProcess& process = MisfireProcess::shared();
    for (int shape = 0; shape < MisfireProcess::kShapes; ++shape)
        for (int rate = 0; rate < MisfireProcess::kRates; ++rate) {
            const auto i = static_cast<std::size_t>(shape * MisfireProcess::kRates + rate);
            bad_[i] = process.way(shape, rate).bad;
            if (!process.way(shape, rate).possible) log_[i] = -std::numeric_limits<double>::infinity();
        }
}

void ProcessFilter::take(const FiringRecord& record) {
    const MisfireProcess& process = MisfireProcess::shared();
    firings_ += record.firings();
    misfires_ += record.misfires();
    const auto lost = static_cast<double>(record.misfires());
    const auto burnt = static_cast<double>(record.firings() - record.misfires());
    for (int shape = 0; shape < MisfireProcess::kShapes; ++shape)
        for (int rate = 0; rate < MisfireProcess::kRates; ++rate) {
            const MisfireProcess::Way& way = process.way(shape, rate);
            const auto i = static_cast<std::size_t>(shape * MisfireProcess::kRates + rate);
            if (!way.possible) continue;
            if (way.independent)
                log_[i] += lost * std::log(way.rate) + burnt * std::log1p(-way.rate);
            else
                take_tokens(way, record.tokens(), log_[i], bad_[i]);
        }
}

void ProcessFilter::take_tokens(const MisfireProcess::Way& way, const std::vector<std::int32_t>& tokens, double& log,
                                double& bad) const noexcept {
    double scale = 1.0;  // collected, so that logarithms are few
    for (const std::int32_t token : tokens) {
        if (token == 0) {
            bad = way.bad;
        } else if (token < -1) {
            bad = way.bad + std::pow(way.persistence, -1 - token) * (bad - way.bad);
        } else if (token == -1) {
            const double before = way.bad + way.persistence * (bad - way.bad);
            const double lost = (1.0 - before) * way.lost_good + before * way.lost_bad;
            scale *= lost;
            bad = before * way.lost_bad / lost;
        } else {
            // Power of a 2 x 2 matrix by Cayley and Hamilton, the larger eigenvalue's power taken out.
            const double ratio = std::exp(token * way.log_ratio);
            const double a = (1.0 - ratio) / (way.eigen1 - way.eigen2);
            const double b = (way.eigen1 * ratio - way.eigen2) / (way.eigen1 - way.eigen2);
            const double good_now = 1.0 - bad;
            const double good = a * (way.burnt[0] * good_now + way.burnt[1] * bad) + b * good_now;
            const double still_bad = a * (way.burnt[2] * good_now + way.burnt[3] * bad) + b * bad;
            log += token * way.log_eigen1;
            scale *= good + still_bad;
            bad = still_bad / (good + still_bad);
        }
        if (scale < 1e-200) {
            log += std::log(scale);
            scale = 1.0;
        }
    }
    log += std::log(scale);
}

}  // namespace kurbel
