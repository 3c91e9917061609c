#include "kurbel/study/cranking.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "kurbel/core/slider_crank.hpp"
#include "kurbel/read/analysis.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/simulate/random.hpp"
#include "kurbel/stage/half_turn.hpp"
#include "study/compression_fit.hpp"
#include "study/cranked_cycles.hpp"

namespace kurbel {

namespace {

constexpr int kFewestCycles = 4;
constexpr int kDraws = 4000;
/// What the fit's own errors do not hold (the gas's true exponent along the stroke, valves, heat): share of a cylinder's pressure, as
/// seen over simulated engines whose truth is known; no source.
constexpr double kModelDoubt = 0.0075;
/// And share of what a cylinder lies below the best: a scale that is wrong (inertia of starter and engine) stretches differences.
constexpr double kScaleDoubt = 0.03;
/// The other half of the cycle must fit so much worse that it cannot be the right one.
constexpr double kHalfIsWrong = 1.3;

void refuse(const std::string& name, const std::string& cause) { throw read::InputError(name, 0, cause); }

CrankedPart usable_part(const read::Recording& recording, const std::string& name) {
    CrankedPart part = cranked_part(recording.config, read::view_of(recording));
    if (part.cycles.empty() && part.started && part.end_s - part.begin_s < 0.5)
        refuse(name,
               "the engine runs by itself from the beginning; disable fuel and ignition as the maker says, then record "
               "while the starter alone turns it for at least five seconds, throttle open");
    if (static_cast<int>(part.cycles.size()) < kFewestCycles)
        refuse(name, "only " + std::to_string(part.cycles.size()) + " whole engine cycles turned by the starter alone" +
                         (part.started ? " before the engine started" : "") +
                         ", at least four are needed; disable fuel and ignition as the maker says and let the starter "
                         "turn the engine for at least five seconds without a break");
    return part;
}

struct Draws {
    Eigen::MatrixXd percent;  ///< draws x cylinders
    Eigen::MatrixXd leak;
};

double quantile(Eigen::VectorXd values, double share) {
    const auto at = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), values.begin() + at, values.end());
    return values[at];
}

/// Parameters drawn from the fit's normal distribution, as percent of the best cylinder.
Draws draw(const CompressionFit& fit, double bottom) {
    const int z = fit.cylinders;
    const Eigen::LDLT<Eigen::MatrixXd> root(fit.covariance);
    const Eigen::MatrixXd lower =
        root.transpositionsP().transpose() *
        (Eigen::MatrixXd(root.matrixL()) * root.vectorD().cwiseMax(0.0).cwiseSqrt().asDiagonal()).eval();
    Draws draws{Eigen::MatrixXd(kDraws, z), Eigen::MatrixXd(kDraws, z)};
    simulate::Random random(20261128, 6);
    Eigen::VectorXd normal(2 * z + 1);
    for (int d = 0; d < kDraws; ++d) {
        for (double& value : normal) value = random.normal();
        const Eigen::VectorXd off = lower * normal;
        double best = 0.0;
        double tightest = 1e9;
        for (int k = 0; k < z; ++k) {
            const auto at = static_cast<std::size_t>(k);
            const double leak = fit.leak[at] + off[z + k];
            const double bar = tdc_gauge_bar(fit, bottom, k, fit.trapped[at] + off[k], leak, fit.exponent + off[2 * z]);
            draws.percent(d, k) = bar * (1.0 + kModelDoubt * random.normal());
            draws.leak(d, k) = leak;
            best = std::max(best, draws.percent(d, k));
            tightest = std::min(tightest, leak);
        }
        const double scale = kScaleDoubt * random.normal();
        for (int k = 0; k < z; ++k) {
            const double percent = 100.0 * draws.percent(d, k) / std::max(best, 1e-9);
            draws.percent(d, k) = percent + scale * (100.0 - percent);
        }
        for (int k = 0; k < z; ++k)
            draws.leak(d, k) =
                100.0 * (1.0 - std::exp(-(draws.leak(d, k) - tightest) * fit.exposure[static_cast<std::size_t>(k)]));
    }
    return draws;
}

void read_cylinders(const Config& config, const CompressionFit& fit, RelativeCompression& result,
                    const CrankingOptions& options) {
    const int z = fit.cylinders;
    const double bottom = SliderCrank::of(config.engine).volume(std::numbers::pi);
    const Draws draws = draw(fit, bottom);
    std::vector<double> bar;
    for (int k = 0; k < z; ++k) {
        const auto at = static_cast<std::size_t>(k);
        bar.push_back(tdc_gauge_bar(fit, bottom, k, fit.trapped[at], fit.leak[at], fit.exponent));
    }
    const double best = *std::max_element(bar.begin(), bar.end());
    const double most = *std::max_element(fit.trapped.begin(), fit.trapped.begin() + z);
    const double tightest = *std::min_element(fit.leak.begin(), fit.leak.begin() + z);
    const bool sized =
        config.engine.bore_mm > 0.0 && config.engine.stroke_mm > 0.0 && config.engine.inertia_kg_m2 > 0.0;
    // For the verdict all cylinders are looked at together (Bonferroni).
    const double tail = 0.025 / std::max(z - 1, 1);
    const double limit = 100.0 - options.limit_percent;
    bool all_within = true;
    bool any_below = false;
    for (int k = 0; k < z; ++k) {
        const auto at = static_cast<std::size_t>(k);
        CylinderCompression reading;
        const int own = config.engine.firing_order[at];
        const int partner = partner_under_360(config.engine, k);
        if (result.phase_known || partner < 0) {
            reading.cylinder = own;
        } else {
            const int other = config.engine.firing_order[static_cast<std::size_t>(partner)];
            reading.candidates = {std::min(own, other), std::max(own, other)};
        }
        reading.percent = 100.0 * bar[at] / best;
        reading.low = std::min(reading.percent, quantile(draws.percent.col(k), 0.025));
        reading.high = std::max(reading.percent, quantile(draws.percent.col(k), 0.975));
        reading.filling_percent = 100.0 * fit.trapped[at] / most;
        reading.leak_percent = 100.0 * (1.0 - std::exp(-(fit.leak[at] - tightest) * fit.exposure[at]));
        reading.leak_low = std::min(reading.leak_percent, quantile(draws.leak.col(k), 0.025));
        reading.leak_high = std::max(reading.leak_percent, quantile(draws.leak.col(k), 0.975));
        if (sized) reading.tdc_bar = bar[at];
        reading.below = quantile(draws.percent.col(k), 1.0 - tail) < limit;
        any_below = any_below || reading.below;
        all_within = all_within && quantile(draws.percent.col(k), tail) >= limit;
        result.cylinders.push_back(reading);
    }
    if (result.cylinders.front().cylinder > 0)
        std::sort(result.cylinders.begin(), result.cylinders.end(),
                  [](const auto& a, const auto& b) { return a.cylinder < b.cylinder; });
    result.verdict = any_below ? "uneven" : all_within ? "even" : "undecided";
}

void show(const CrankedCycle& cycle, const CompressionFit& fit, RelativeCompression& result) {
    constexpr double kRpm = 30.0 / std::numbers::pi;
    for (std::size_t i = 0; i < cycle.interval.size() && i < fit.fitted.size(); ++i) {
        result.shown_deg.push_back(cycle.interval[i].begin_deg + 0.5 * cycle.interval[i].width_deg);
        result.shown_rpm.push_back(kRpm * cycle.interval[i].speed);
        result.model_rpm.push_back(kRpm * std::sqrt(2.0 * std::max(fit.fitted[i], 0.0)));
    }
}

}  // namespace

RelativeCompression measure_compression(const read::Recording& recording, const std::string& name,
                                        const CrankingOptions& options) {
    if (!(options.limit_percent >= 1.0 && options.limit_percent <= 60.0))
        throw WrongQuestion("limit: must lie in 1 to 60 percent below the best cylinder");
    const Config& config = recording.config;
    if (config.engine.cylinders < 2)
        refuse(name, "relative compression compares cylinders, and this engine has one; use a pressure gauge");
    const CrankedPart part = usable_part(recording, name);
    CompressionFit fit = fit_compression(config, part.cycles, 0.0);
    RelativeCompression result;
    result.phase_known = part.phase_known;
    if (!part.phase_known && !symmetric_under_360(config.engine)) {
        // The dips stand elsewhere in the other half: the wrong one fits badly.
        const CompressionFit other = fit_compression(config, part.cycles, 360.0);
        const double here = fit.scatter * fit.scatter;
        const double there = other.scatter * other.scatter;
        if (std::max(here, there) < kHalfIsWrong * std::min(here, there))
            refuse(name,
                   "no cam tells the phase, and the motion of the crank does not either; record the cam signal too");
        if (there < here) fit = other;
        result.phase_known = true;
    }
    constexpr double kStranger = 0.12;  // a tenth of the energy everywhere is no cranking
    if (fit.scatter > kStranger || fit.cycles < kFewestCycles)
        refuse(name,
               "the crank does not move as a starter alone moves it (did it fire, was the clutch or a gear engaged?); "
               "disable fuel and ignition as the maker says, take the car out of gear, and record again");
    result.cycles = fit.cycles;
    result.cycles_left = fit.left_out;
    result.begin_s = part.cycles.front().time_s;
    result.end_s = part.cycles.back().time_s + part.cycles.back().seconds;
    result.mean_rpm = fit.mean_rpm;
    result.engine_started = part.started;
    result.exponent = fit.exponent;
    result.tdc_offset_deg = fit.tdc_deg;
    result.scatter = fit.scatter;
    read_cylinders(config, fit, result, options);
    show(part.cycles[fit.shown], fit, result);
    return result;
}

}  // namespace kurbel
