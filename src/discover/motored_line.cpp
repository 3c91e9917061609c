#include "discover/motored_line.hpp"

#include <algorithm>

namespace kurbel::discover {

namespace {

/// Torsion and driveline bend the line at speed; the slowest cycles that span a factor of two and a half of energy part gas from masses
/// well enough (judged; no source).
void keep_slowest(std::vector<MotoredCycle>& cycles) {
    constexpr double kSpan = 2.5;
    constexpr std::size_t kEnough = 24;
    std::sort(cycles.begin(), cycles.end(),
              [](const MotoredCycle& a, const MotoredCycle& b) { return a.energy < b.energy; });
    const double least = cycles[cycles.size() / 20].energy;
    std::size_t keep = 0;
    while (keep < cycles.size() && (keep < kEnough || cycles[keep].energy <= kSpan * least)) ++keep;
    cycles.resize(keep);
}

}  // namespace

MotoredLine motored_line(std::vector<MotoredCycle> cycles) {
    MotoredLine line;
    constexpr std::size_t kFewest = 8;
    if (cycles.size() < kFewest) return line;
    keep_slowest(cycles);
    line.cycles = static_cast<int>(cycles.size());
    const auto count = static_cast<double>(cycles.size());
    const Eigen::Index waves = cycles.front().waves.size();
    Eigen::VectorXd mean = Eigen::VectorXd::Zero(waves);
    for (const MotoredCycle& cycle : cycles) {
        line.energy += cycle.energy / count;
        mean += cycle.waves / count;
    }
    double square = 0.0;
    Eigen::VectorXd slope = Eigen::VectorXd::Zero(waves);
    for (const MotoredCycle& cycle : cycles) {
        const double off = cycle.energy / line.energy - 1.0;
        square += off * off;
        slope += off * (cycle.waves - mean);
    }
    // All at one speed: a line of any slope.
    constexpr double kLeastSquare = 1e-9;
    square = std::max(square, kLeastSquare);
    slope /= square;
    Eigen::VectorXd left = Eigen::VectorXd::Zero(waves);
    for (const MotoredCycle& cycle : cycles)
        left += (cycle.waves - mean - (cycle.energy / line.energy - 1.0) * slope).cwiseAbs2();
    // Neighbouring cycles are not independent: they count half (judged; no source).
    constexpr double kWorth = 0.5;
    for (Eigen::Index h = 0; 2 * h < waves; ++h) {
        const double variance = 0.5 * (left[2 * h] + left[2 * h + 1]) / (count - 2.0) / kWorth;
        line.middle.emplace_back(mean[2 * h], mean[2 * h + 1]);
        line.rise.emplace_back(slope[2 * h], slope[2 * h + 1]);
        line.middle_variance.push_back(variance / count);
        line.rise_variance.push_back(variance / square);
    }
    return line;
}

}  // namespace kurbel::discover
