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
#include "study/alike_cylinders.hpp"
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
constexpr double kLeastTold = 0.02;  ///< share of the best cylinder's pressure
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

double quantile(Eigen::VectorXd values, double share) {
    const auto at = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), values.begin() + at, values.end());
    return values[at];
}

/// Gauge pressures at TDC as the fit has them, and the errors of their logarithms.
struct Pressures {
    Eigen::VectorXd bar;
    Eigen::VectorXd log;
    Eigen::MatrixXd covariance;
};

Pressures pressures(const CompressionFit& fit, double bottom) {
    const int z = fit.cylinders;
    Pressures result{Eigen::VectorXd(z), Eigen::VectorXd(z), {}};
    for (int k = 0; k < z; ++k) {
        const auto at = static_cast<std::size_t>(k);
        result.bar[k] = tdc_gauge_bar(fit, bottom, k, fit.trapped[at], fit.leak[at], fit.exponent);
    }
    // A cylinder that holds nothing has no logarithm.
    result.bar = result.bar.cwiseMax(kLeastTold * result.bar.maxCoeff());
    result.log = result.bar.array().log();
    Eigen::MatrixXd slope = Eigen::MatrixXd::Zero(z, 2 * z + 1);
    for (int k = 0; k < z; ++k) {
        const auto at = static_cast<std::size_t>(k);
        const double absolute = (result.bar[k] + fit.ambient_bar) / result.bar[k];
        slope(k, k) = absolute / fit.trapped[at];
        slope(k, z + k) = -absolute * fit.exposure[at];
        slope(k, 2 * z) = absolute * std::log(bottom);
    }
    result.covariance = slope * fit.covariance * slope.transpose();
    result.covariance.diagonal().array() += kModelDoubt * kModelDoubt;
    return result;
}

/// Percent of the best cylinder, draws x cylinders.
Eigen::MatrixXd percents(const AlikeCylinders& alike) {
    Eigen::MatrixXd result(alike.draws.rows(), alike.draws.cols());
    simulate::Random random(20261128, 7);
    for (Eigen::Index d = 0; d < result.rows(); ++d) {
        const double best = alike.draws.row(d).maxCoeff();
        const double scale = kScaleDoubt * random.normal();
        for (Eigen::Index k = 0; k < result.cols(); ++k) {
            const double percent = 100.0 * std::exp(alike.draws(d, k) - best);
            result(d, k) = percent + scale * (100.0 - percent);
        }
    }
    return result;
}

/// Percent of its charge that each loses beyond the tightest, drawn from the fit's normal distribution; draws x cylinders.
Eigen::MatrixXd leaks(const CompressionFit& fit) {
    const int z = fit.cylinders;
    const Eigen::LDLT<Eigen::MatrixXd> root(fit.covariance.block(z, z, z, z));
    const Eigen::MatrixXd lower =
        root.transpositionsP().transpose() *
        (Eigen::MatrixXd(root.matrixL()) * root.vectorD().cwiseMax(0.0).cwiseSqrt().asDiagonal()).eval();
    Eigen::MatrixXd result(kDraws, z);
    simulate::Random random(20261128, 6);
    Eigen::VectorXd leak(z);
    for (int d = 0; d < kDraws; ++d) {
        for (double& value : leak) value = random.normal();
        leak = lower * leak;
        for (int k = 0; k < z; ++k) leak[k] += fit.leak[static_cast<std::size_t>(k)];
        const double tightest = leak.minCoeff();
        for (int k = 0; k < z; ++k)
            result(d, k) = 100.0 * (1.0 - std::exp(-(leak[k] - tightest) * fit.exposure[static_cast<std::size_t>(k)]));
    }
    return result;
}

void read_cylinders(const Config& config, const CompressionFit& fit, RelativeCompression& result,
                    const CrankingOptions& options) {
    const int z = fit.cylinders;
    const double bottom = SliderCrank::of(config.engine).volume(std::numbers::pi);
    const Pressures pressure = pressures(fit, bottom);
    const AlikeCylinders alike = alike_cylinders(pressure.log, pressure.covariance);
    const Eigen::MatrixXd percent = percents(alike);
    const Eigen::MatrixXd leak = leaks(fit);
    const double best = alike.mean.maxCoeff();
    // The level of all of them is the fit's, weighed as its errors say.
    const Eigen::VectorXd weight = pressure.covariance.ldlt().solve(Eigen::VectorXd::Ones(z));
    const double level = weight.dot(pressure.log - alike.mean) / weight.sum();
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
        reading.percent = 100.0 * std::exp(alike.mean[k] - best);
        reading.low = std::min(reading.percent, quantile(percent.col(k), 0.025));
        reading.high = std::max(reading.percent, quantile(percent.col(k), 0.975));
        reading.filling_percent = 100.0 * fit.trapped[at] / most;
        reading.leak_percent = 100.0 * (1.0 - std::exp(-(fit.leak[at] - tightest) * fit.exposure[at]));
        reading.leak_low = std::min(reading.leak_percent, quantile(leak.col(k), 0.025));
        reading.leak_high = std::max(reading.leak_percent, quantile(leak.col(k), 0.975));
        if (sized) reading.tdc_bar = std::exp(alike.mean[k] + level);
        reading.below = quantile(percent.col(k), 1.0 - tail) < limit;
        any_below = any_below || reading.below;
        all_within = all_within && quantile(percent.col(k), tail) >= limit;
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
