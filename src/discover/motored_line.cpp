#include "discover/motored_line.hpp"

#include <algorithm>
#include <cmath>

namespace kurbel::discover {

namespace {

/// Torsion and driveline bend the line at speed; the slowest cycles that span a factor of two and a half of energy part gas from masses
/// well enough (judged; no source).
void keep_slowest(std::vector<MotoredCycle>& cycles) {
    constexpr double kSpan = 2.5;
    constexpr std::size_t kEnough = 24;
    const double least = cycles[cycles.size() / 20].energy;
    std::size_t keep = 0;
    while (keep < cycles.size() && (keep < kEnough || cycles[keep].energy <= kSpan * least)) ++keep;
    cycles.resize(keep);
}

/// Neighbouring cycles are not independent: they count half (judged; no source).
constexpr double kWorth = 0.5;

/// Steps of one ratio of energy, so many that each holds enough cycles to tell its own scatter.
std::vector<MotoredBin> in_bins(const std::vector<MotoredCycle>& cycles) {
    constexpr std::size_t kMostBins = 12;
    constexpr std::size_t kFewest = 4;
    constexpr double kLeastStep = 0.05;  // of the logarithm: within a step the energy makes no difference
    const double low = std::log(cycles.front().energy);
    const double step = std::max(kLeastStep, (std::log(cycles.back().energy) - low + 1e-9) / kMostBins);
    std::vector<MotoredBin> bins;
    for (std::size_t begin = 0; begin < cycles.size();) {
        const double bin = std::floor((std::log(cycles[begin].energy) - low) / step);
        std::size_t end = begin;
        while (end < cycles.size() &&
               (end - begin < kFewest || std::log(cycles[end].energy) < low + (bin + 1.0) * step))
            ++end;
        if (end - begin < kFewest) break;
        const auto count = static_cast<double>(end - begin);
        Eigen::VectorXd sum = Eigen::VectorXd::Zero(cycles.front().waves.size());
        Eigen::VectorXd apart = sum;
        MotoredBin each;
        each.cycles = static_cast<int>(end - begin);
        for (std::size_t i = begin; i < end; ++i) {
            each.energy += cycles[i].energy / count;
            sum += cycles[i].waves;
            // Next in energy, seldom next in time: what is left between the two is chance.
            if (i > begin) apart += (cycles[i].waves - cycles[i - 1].waves).cwiseAbs2();
        }
        for (Eigen::Index h = 0; 2 * h < sum.size(); ++h) {
            each.wave.emplace_back(sum[2 * h] / count, sum[2 * h + 1] / count);
            const double of_one = 0.25 * (apart[2 * h] + apart[2 * h + 1]) / (count - 1.0);
            each.variance.push_back(of_one / kWorth / count);
        }
        bins.push_back(std::move(each));
        begin = end;
    }
    return bins;
}

}  // namespace

MotoredLine motored_line(std::vector<MotoredCycle> cycles) {
    MotoredLine line;
    constexpr std::size_t kFewest = 8;
    if (cycles.size() < kFewest) return line;
    std::sort(cycles.begin(), cycles.end(),
              [](const MotoredCycle& a, const MotoredCycle& b) { return a.energy < b.energy; });
    line.bins = in_bins(cycles);
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
    for (Eigen::Index h = 0; 2 * h < waves; ++h) {
        const double variance = 0.5 * (left[2 * h] + left[2 * h + 1]) / (count - 2.0) / kWorth;
        line.middle.emplace_back(mean[2 * h], mean[2 * h + 1]);
        line.rise.emplace_back(slope[2 * h], slope[2 * h + 1]);
        line.middle_variance.push_back(variance / count);
        line.rise_variance.push_back(variance / square);
    }
    return line;
}

MotoredBin MotoredLine::at(double energy_at) const {
    if (bins.size() < 2) return bins.front();
    std::size_t next = 1;
    while (next + 1 < bins.size() && bins[next].energy < energy_at) ++next;
    const MotoredBin& low = bins[next - 1];
    const MotoredBin& high = bins[next];
    const double share = (energy_at - low.energy) / (high.energy - low.energy);
    MotoredBin between{energy_at, low.cycles + high.cycles, {}, {}};
    for (std::size_t h = 0; h < low.wave.size(); ++h) {
        between.wave.push_back((1.0 - share) * low.wave[h] + share * high.wave[h]);
        between.variance.push_back((1.0 - share) * (1.0 - share) * low.variance[h] + share * share * high.variance[h]);
    }
    return between;
}

}  // namespace kurbel::discover
