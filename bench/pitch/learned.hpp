// One wheel, learned and held against the truth.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <map>
#include <memory>
#include <string>

#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "kurbel/stage/pitch_correction.hpp"

#include "bound.hpp"
#include "learner.hpp"

namespace kurbel_pitch {

struct Learned {
    std::string engine;
    int teeth = 0;
    double before_deg = 0.0;  ///< rms of the wheel's error
    double left_deg = 0.0;    ///< rms of what is left once corrected
    double bound_deg = 0.0;   ///< what must be expected to be left: see bound.hpp
    double se_deg = 0.0;      ///< what the learner expects to be left
    double chi_square = 0.0;  ///< mean over the teeth of (left / stated standard error) squared
    int cycles = 0;
    std::string worst;  ///< orders at which most is left: "2: 0.031 (stated 0.012)"
    kurbel::WheelErrors errors{};
    kurbel::WheelErrors truth{};
};

/// Errors of the teeth in truth, their mean taken out.
[[nodiscard]] inline kurbel::WheelErrors true_errors(const kurbel::simulate::DeepTruth& truth) {
    kurbel::WheelErrors errors;
    errors.teeth = static_cast<int>(truth.true_deg.size());
    double mean = 0.0;
    for (std::size_t j = 0; j < truth.true_deg.size(); ++j)
        mean += (truth.true_deg[j] - truth.nominal_deg[j]) / errors.teeth;
    for (std::size_t j = 0; j < truth.true_deg.size(); ++j)
        errors.error_deg[j] = static_cast<float>(truth.true_deg[j] - truth.nominal_deg[j] - mean);
    return errors;
}

/// The two orders at which the most is left, degrees rms.
[[nodiscard]] inline std::string worst_orders(const kurbel::WheelConfig& wheel, const Learned& learned) {
    kurbel::WheelBasis basis;
    basis.build(wheel);
    std::array<float, kurbel::kMaxTeeth> left{};
    for (std::size_t j = 0; j < left.size(); ++j) left[j] = learned.truth.error_deg[j] - learned.errors.error_deg[j];
    std::map<int, double> square;
    for (int m = 0; m < basis.size(); ++m) {
        const double part = basis.project(m, left.data());
        square[basis.order(m)] += part * part / wheel.teeth;
    }
    std::string text;
    for (int i = 0; i < 2 && !square.empty(); ++i) {
        const auto most = std::max_element(square.begin(), square.end(),
                                           [](const auto& a, const auto& b) { return a.second < b.second; });
        char part[48];
        std::snprintf(part, sizeof part, "%s%d: %.4f", i > 0 ? ", " : "", most->first, std::sqrt(most->second));
        text += part;
        square.erase(most);
    }
    return text;
}

template <class Real = double>
[[nodiscard]] Learned learn(const std::string& file, std::uint64_t draw, std::int64_t revolutions) {
    const kurbel::simulate::Scenario scenario = kurbel::simulate::read_scenario(file, draw);
    kurbel::simulate::DeepTruth truth;
    const kurbel::read::Recording recording = kurbel::simulate::simulate(scenario, {}, {}, &truth);
    const auto learner = std::make_unique<Learner<Real>>(recording.config, revolutions);
    kurbel::read::Feed feed(kurbel::read::view_of(recording));
    if (!feed.run(*learner).ok()) return {};
    typename kurbel::PitchCorrection<Real>::Report report;
    Learned result;
    result.errors = learner->pitch.errors(&report);
    result.truth = true_errors(truth);
    result.teeth = result.truth.teeth;
    result.cycles = report.cycles;
    result.se_deg = report.rms_se_deg;
    result.bound_deg = least_left_deg(scenario, revolutions);
    const kurbel::EngineConfig& engine = scenario.engine;
    result.engine = std::to_string(engine.cylinders) +
                    (scenario.crank_wheel.at == kurbel::SensorAt::front ? " front" : " flywheel");
    for (int j = 0; j < result.teeth; ++j) {
        const auto i = static_cast<std::size_t>(j);
        const auto was = static_cast<double>(result.truth.error_deg[i]);
        const double left = was - static_cast<double>(result.errors.error_deg[i]);
        const auto se = std::max(static_cast<double>(report.se_deg[i]), 1e-6);
        result.before_deg += was * was / result.teeth;
        result.left_deg += left * left / result.teeth;
        result.chi_square += left * left / (se * se) / result.teeth;
    }
    result.worst = worst_orders(recording.config.crank_wheel, result);
    result.before_deg = std::sqrt(result.before_deg);
    result.left_deg = std::sqrt(result.left_deg);
    return result;
}

}  // namespace kurbel_pitch
