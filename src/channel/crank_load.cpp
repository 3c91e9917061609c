#include "kurbel/channel/crank_load.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "kurbel/core/slider_crank.hpp"
#include "study/cycle_profiles.hpp"

namespace kurbel::channel {

namespace {

using Complex = std::complex<double>;

constexpr int kMostWaves = 24;
constexpr double kWavesPerInterval = 0.42;
constexpr double kTooth_deg = 0.1;  ///< error of each tooth (from memory)
/// Energy of all pistons at their fastest over that of the rotating parts, where masses are not told: from car engines, motorcycles and
/// trucks by 0.4 to 4 kg a piston and their usual inertia (facts from memory; no source).
constexpr double kPistons = 0.015;
constexpr double kPistonsError = 0.01;
constexpr double kMostPistons = 0.04;
constexpr double kMostDoubt = 0.5;  ///< standard error, share of the highest, that makes an estimate worthless

/// One cycle's firing wave.
struct Wave {
    double time_s = 0.0;
    double energy = 0.0;
    Complex y;
    bool fired = false;
};

/// The wave, per cycle, at which the cylinders add up best; of equals the slowest, which is strongest.
int firing_wave(const EngineConfig& engine) {
    int best = 1;
    double most = 0.0;
    for (int wave = 1; wave <= kMostWaves; ++wave) {
        Complex sum = 0.0;
        for (int i = 0; i < engine.cylinders; ++i)
            sum += std::polar(1.0, -2.0 * std::numbers::pi * wave * engine.firing_tdc_deg[static_cast<std::size_t>(i)] /
                                       engine.cycle_deg());
        // A combustion's own waves fall with about the square of their order.
        const double strength = std::abs(sum) / (wave * wave);
        const bool adds_up = std::abs(sum) > 0.7 * engine.cylinders;
        if (adds_up && strength > most * (1.0 + 1e-9)) {
            most = strength;
            best = wave;
        }
    }
    return best;
}

/// The wave by least squares over a cycle's intervals, so that the gap leaks nothing into it.
class WaveFit {
  public:
    WaveFit(const CycleProfiles& profiles, double cycle_deg, int wave) {
        const auto rows = static_cast<Eigen::Index>(profiles.begin_deg.size());
        const int waves = std::min(kMostWaves, static_cast<int>(kWavesPerInterval * static_cast<double>(rows)));
        if (wave > waves) return;
        Eigen::MatrixXd design(rows, 1 + 2 * waves);
        slope_.resize(rows);
        for (Eigen::Index i = 0; i < rows; ++i) {
            const auto at = static_cast<std::size_t>(i);
            const double width = profiles.width_deg[at] / cycle_deg;
            const double middle = profiles.begin_deg[at] / cycle_deg + 0.5 * width;
            slope_[i] = middle;
            design(i, 0) = 1.0;
            for (int h = 1; h <= waves; ++h) {
                const double half = std::numbers::pi * h * width;
                const double softened = std::sin(half) / half;
                design(i, 2 * h - 1) = softened * std::cos(2.0 * std::numbers::pi * h * middle);
                design(i, 2 * h) = -softened * std::sin(2.0 * std::numbers::pi * h * middle);
            }
        }
        rows_ = (design.transpose() * design).ldlt().solve(design.transpose()).middleRows(2 * wave - 1, 2);
    }

    [[nodiscard]] bool possible() const { return rows_.rows() == 2; }
    /// Of a cycle along which energy rises by `rise`.
    [[nodiscard]] Complex of(const std::vector<double>& interval, double rise) const {
        const Eigen::Map<const Eigen::VectorXd> values(interval.data(), static_cast<Eigen::Index>(interval.size()));
        const Eigen::Vector2d found = rows_ * (values - rise * slope_);
        return {found[0], found[1]};
    }

  private:
    Eigen::MatrixXd rows_;
    Eigen::VectorXd slope_;
};

/// What pistons whose energy is one rotating part's at their fastest do to the wave at unit energy.
Complex pistons(const EngineConfig& engine, const CycleProfiles& profiles, const WaveFit& fit) {
    const SliderCrank crank = SliderCrank::of(engine);
    std::vector<double> loss;
    double most = 0.0;
    for (std::size_t i = 0; i < profiles.begin_deg.size(); ++i) {
        double sum = 0.0;
        for (int k = 0; k < engine.cylinders; ++k) {
            const double arm = crank.lever(to_rad(profiles.begin_deg[i] + 0.5 * profiles.width_deg[i] -
                                                  engine.firing_tdc_deg[static_cast<std::size_t>(k)]));
            sum += arm * arm;
        }
        loss.push_back(-sum);
        most = std::max(most, sum);
    }
    for (double& value : loss) value /= most;
    return fit.of(loss, 0.0);
}

double quantile(std::vector<double> values, double share) {
    const auto at = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), at, values.end());
    return *at;
}

std::vector<Wave> waves_of(const CycleProfiles& profiles, const WaveFit& fit) {
    std::vector<Wave> waves;
    const auto& cycles = profiles.cycles;
    for (std::size_t i = 1; i + 1 < cycles.size(); ++i) {
        if (cycles[i].number != cycles[i - 1].number + 1 || cycles[i + 1].number != cycles[i].number + 1) continue;
        const double rise = 0.5 * (cycles[i + 1].energy - cycles[i - 1].energy);
        waves.push_back({cycles[i].time_s + 0.5 * cycles[i].seconds, cycles[i].energy, fit.of(cycles[i].interval, rise),
                         !cycles[i].cut && !cycles[i].mixed && cycles[i].misfires == 0});
    }
    return waves;
}

/// y = charge * direction + energy * with_speed.
struct Split {
    Complex direction;
    Complex with_speed;
    double doubt = 0.0;  ///< standard error of the part of `with_speed` along the gas, by pistons that are not known
};

/// `rest`: the direction that gas has where load hardly varied, of unit length.
Split split(const std::vector<Wave>& waves, Complex rest, Complex piston_wave, bool pistons_known) {
    Complex product = 0.0;
    double square = 0.0;
    for (const Wave& wave : waves) {
        if (!wave.fired) continue;
        product += wave.energy * wave.y;
        square += wave.energy * wave.energy;
    }
    Complex twice = 0.0;  // its angle is twice the direction's
    double power = 0.0;
    for (const Wave& wave : waves) {
        if (!wave.fired) continue;
        const Complex moved = wave.y - wave.energy * product / square;
        twice += moved * moved;
        power += std::norm(moved);
    }
    Split result{rest, 0.0, 0.0};
    constexpr double kClear = 0.8;  // of the movement lies along one direction, nine times as much as across
    if (std::abs(twice) > kClear * power) {
        result.direction = std::polar(1.0, 0.5 * std::arg(twice));
        if (std::real(result.direction * std::conj(rest)) < 0.0) result.direction = -result.direction;
    }
    // Across the gas everything goes with speed.
    const double across = std::imag(product / square * std::conj(result.direction));
    double size = 0.0;
    double along = 0.0;
    if (!pistons_known) {
        const double piston_across = std::imag(piston_wave * std::conj(result.direction));
        along = std::real(piston_wave * std::conj(result.direction));
        // What they do across the gas tells their size.
        const bool told = std::abs(piston_across) > 0.4 * std::abs(piston_wave);
        size = told ? std::clamp(across / piston_across, 0.0, kMostPistons) : kPistons;
        result.doubt = kPistonsError * std::abs(along);
    }
    result.with_speed = result.direction * Complex(size * along, across);
    return result;
}

std::vector<double> running_median(const std::vector<double>& values) {
    constexpr std::size_t kReach = 4;
    std::vector<double> smooth;
    for (std::size_t i = 0; i < values.size(); ++i) {
        const std::size_t first = i > kReach ? i - kReach : 0;
        const std::size_t last = std::min(values.size(), i + kReach + 1);
        smooth.push_back(quantile(
            {values.begin() + static_cast<std::ptrdiff_t>(first), values.begin() + static_cast<std::ptrdiff_t>(last)},
            0.5));
    }
    return smooth;
}

}  // namespace

CrankLoad load_from_crank(const read::Recording& recording, const std::string& name) {
    CrankLoad answer;
    const EngineConfig& engine = recording.config.engine;
    const CycleProfiles profiles = collect_cycles(recording, name);
    const int wave = firing_wave(engine);
    // Halves of the cycle look alike where the wave comes back in one revolution.
    if (engine.strokes == 4 && wave % 2 == 1 && !profiles.phase_known) {
        answer.why_not = "which of the cycle's two revolutions is which is not known";
        return answer;
    }
    const WaveFit fit(profiles, engine.cycle_deg(), wave);
    if (!fit.possible()) {
        answer.why_not = "the wheel has too few teeth to show single firings";
        return answer;
    }
    const std::vector<Wave> waves = waves_of(profiles, fit);
    constexpr std::ptrdiff_t kFewest = 40;
    const auto fired = std::count_if(waves.begin(), waves.end(), [](const Wave& each) { return each.fired; });
    if (fired < kFewest) {
        answer.why_not = "fewer than 40 whole engine cycles with fuel and without misfire were seen";
        return answer;
    }
    Complex together = 0.0;
    for (int i = 0; i < engine.cylinders; ++i)
        together += std::polar(1.0, -2.0 * std::numbers::pi * wave *
                                        engine.firing_tdc_deg[static_cast<std::size_t>(i)] / engine.cycle_deg());
    answer.pistons_known = engine.reciprocating_kg > 0.0 && engine.inertia_kg_m2 > 0.0 && engine.stroke_mm > 0.0;
    // The crank is slowest about where a cylinder stands at TDC.
    const Split parts =
        split(waves, -together / std::abs(together), pistons(engine, profiles, fit), answer.pistons_known);
    std::vector<double> charge;
    for (const Wave& each : waves)
        charge.push_back(std::real((each.y - each.energy * parts.with_speed) * std::conj(parts.direction)));
    const std::vector<double> smooth = running_median(charge);
    const double full = quantile(smooth, 0.95);
    if (!(full > 0.0)) {
        answer.why_not = "what the wheel's errors and the pistons do hides the gas at these speeds";
        return answer;
    }
    std::vector<double> off;
    for (std::size_t i = 0; i < charge.size(); ++i) off.push_back(std::abs(charge[i] - smooth[i]));
    constexpr double kNormal = 1.4826;  // median absolute deviation to standard deviation
    const double scatter = kNormal * quantile(off, 0.5) / full / 3.0;  // of a median of nine
    const double order = wave * 360.0 / engine.cycle_deg();
    const double wheel = 2.0 * order * to_rad(kTooth_deg) * std::sqrt(2.0 / recording.config.crank_wheel.teeth);
    const double with_energy = std::hypot(wheel, parts.doubt);
    std::vector<double> energies;
    for (const Wave& each : waves) energies.push_back(each.energy);
    if (with_energy * quantile(energies, 0.5) > kMostDoubt * full) {
        answer.why_not = answer.pistons_known
                             ? "at these speeds the wheel's usual errors weigh as much as the gas does"
                             : "the pistons' mass is not told, and at these speeds they weigh as much as the gas does";
        return answer;
    }
    for (std::size_t i = 0; i < waves.size(); ++i) {
        answer.time_s.push_back(waves[i].time_s);
        answer.load.push_back(std::max(0.0, smooth[i] / full));
        answer.doubt.push_back(std::hypot(scatter, with_energy * waves[i].energy / full));
    }
    return answer;
}

}  // namespace kurbel::channel
