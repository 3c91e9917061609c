#include "discover/cycle_spectrum.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/decoder.hpp"

namespace kurbel::discover {

namespace {

constexpr int kMostWaves = 24;
constexpr double kWavesPerInterval = 0.42;
constexpr double kWorstNoise = 4.0;  ///< an order whose noise the gap raises by more is not told

/// A stand-in engine: the Decoder needs to know strokes and cam alone.
bool make_config(const EdgeLines& lines, const WheelFinding& wheel, const CamFinding& cam, Config& config) {
    config.engine.cylinders = 1;
    config.engine.firing_order[0] = 1;
    config.timer = lines.timer;
    if (wheel.teeth > kMaxTeeth) return false;
    config.crank_wheel.positions = wheel.positions;
    config.crank_wheel.teeth = wheel.teeth;
    for (std::size_t i = 0; i < wheel.angle_deg.size(); ++i)
        config.crank_wheel.angle_deg[i] = static_cast<float>(wheel.angle_deg[i]);
    if (cam.tells_cycle || cam.tells_turn) {
        config.cam_wheel.edges = static_cast<int>(cam.edge_deg.size());
        std::copy(cam.edge_deg.begin(), cam.edge_deg.end(), config.cam_wheel.edge_deg.begin());
    }
    return validate(config).ok();
}

/// The fit of one cycle: intervals to waves.
struct Fit {
    int intervals = 0;
    int waves = 0;
    std::vector<double> factor;  ///< squared width over 2, rad^2
    Eigen::MatrixXd rows;        ///< 2 a wave
    Eigen::VectorXd slope;       ///< what energy that rises by 1 a cycle does to them
    std::vector<bool> told;
    /// Of each wave: standard deviation of its real or imaginary part at unit energy, with teeth that stand off by 1 rad at random.
    std::vector<double> by_teeth;

    explicit Fit(const WheelConfig& wheel);
};

Fit::Fit(const WheelConfig& wheel) : intervals(2 * wheel.teeth) {
    waves = std::min(kMostWaves, static_cast<int>(kWavesPerInterval * intervals));
    const auto angle = [&](int tooth) {
        return to_rad(static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(tooth % wheel.teeth)]) +
                      360.0 * (tooth / wheel.teeth));
    };
    Eigen::MatrixXd design(intervals, 1 + 2 * waves);
    Eigen::VectorXd rise(intervals);
    for (int i = 0; i < intervals; ++i) {
        const double width = angle(i + 1) - angle(i);
        const double middle = angle(i) + 0.5 * width;
        factor.push_back(0.5 * width * width);
        rise[i] = middle / to_rad(720.0);
        design(i, 0) = 1.0;
        for (int h = 1; h <= waves; ++h) {
            const double order = 0.5 * h;
            const double softened = std::sin(0.5 * order * width) / (0.5 * order * width);
            design(i, 2 * h - 1) = softened * std::cos(order * middle);
            design(i, 2 * h) = -softened * std::sin(order * middle);
        }
    }
    const Eigen::MatrixXd solve = (design.transpose() * design).ldlt().solve(design.transpose());
    rows = solve.bottomRows(2 * waves);
    slope = rows * rise;
    for (int h = 0; h < waves; ++h) {
        const double gain = 0.5 * (rows.row(2 * h).squaredNorm() + rows.row(2 * h + 1).squaredNorm());
        told.push_back(gain <= kWorstNoise * 2.0 / intervals);
    }
    // A tooth that stands off makes one interval longer and the next shorter, in both revolutions alike.
    Eigen::MatrixXd by_tooth = Eigen::MatrixXd::Zero(intervals, wheel.teeth);
    for (int i = 0; i < intervals; ++i) {
        const double share = 2.0 / (angle(i + 1) - angle(i));
        by_tooth(i, i % wheel.teeth) += share;
        by_tooth(i, (i + 1) % wheel.teeth) -= share;
    }
    const Eigen::MatrixXd moved = rows * by_tooth;
    for (int h = 0; h < waves; ++h)
        by_teeth.push_back(std::sqrt(0.5 * (moved.row(2 * h).squaredNorm() + moved.row(2 * h + 1).squaredNorm())));
}

/// By which single teeth stand off, radians. The engine's swing moves neighbours alike, and differences of differences do not see it.
double tooth_error_rad(const WheelFinding& wheel) {
    constexpr double kUsual_deg = 0.1;   // of a stamped wheel (from memory)
    constexpr double kLeast_deg = 0.02;  // of a machined one (from memory)
    const std::size_t teeth = wheel.measured_deg.size();
    constexpr std::size_t kFewest = 8;
    if (wheel.positions == 0 || teeth < kFewest || wheel.angle_deg.size() != teeth) return to_rad(kUsual_deg);
    double square = 0.0;
    for (std::size_t i = 0; i < teeth; ++i) {
        const auto off = [&](std::size_t k) { return wheel.measured_deg[k % teeth] - wheel.angle_deg[k % teeth]; };
        square += std::pow(off(i + 2) - 2.0 * off(i + 1) + off(i), 2) / (6.0 * static_cast<double>(teeth));
    }
    return to_rad(std::max(kLeast_deg, std::sqrt(square)));
}

/// 0.2 mm off the centre of a wheel of 75 mm radius (judged from usual fits; no source): a wave of order 1.
constexpr double kRunOut_deg = 0.15;

std::vector<double> wheel_errors(const Fit& fit, const WheelFinding& wheel) {
    std::vector<double> error(static_cast<std::size_t>(fit.waves));
    for (std::size_t h = 1; h < error.size(); h += 2) error[h] = fit.by_teeth[h] * tooth_error_rad(wheel);
    if (error.size() > 1) error[1] = std::hypot(error[1], 2.0 * to_rad(kRunOut_deg));
    return error;
}

struct Cycle {
    double begin_s = 0.0;
    double end_s = 0.0;
    double energy = 0.0;
    int section = 0;
    bool follows = false;  ///< the cycle before is whole, too
    Eigen::VectorXd fit;
};

/// Collects the whole cycles among the teeth.
class Collector {
  public:
    Collector(const Fit& fit, int teeth, double hz) : fit_(&fit), teeth_(teeth), hz_(hz), energy_(fit.intervals) {}

    void push(const Tooth& tooth) {
        const int place = tooth.half * teeth_ + tooth.index;
        if (tooth.phase_known && !phase_known_) {
            // What came before may be half a cycle off.
            cycles.clear();
            phase_known_ = true;
        }
        const bool next = has_last_ && !tooth.restart && place == (last_ + 1) % fit_->intervals;
        if (tooth.restart && !tooth.phase_known) ++section_;
        if (next) {
            const double interval_s = static_cast<double>(tooth.tick - last_tick_) / hz_;
            energy_[last_] = fit_->factor[static_cast<std::size_t>(last_)] / (interval_s * interval_s);
            ++run_;
        } else {
            run_ = 0;
            connected_ = false;
        }
        if (place == 0) {
            const double time_s = static_cast<double>(tooth.tick) / hz_;
            if (run_ >= fit_->intervals) {
                cycles.push_back({begin_s_, time_s, energy_.mean(), section_, connected_, fit_->rows * energy_});
                connected_ = true;
            } else {
                connected_ = false;
            }
            begin_s_ = time_s;
            run_ = 0;
        }
        has_last_ = true;
        last_ = place;
        last_tick_ = tooth.tick;
    }

    /// What comes is not connected to what was pushed.
    void interrupt() { has_last_ = false; }

    [[nodiscard]] bool phase_known() const { return phase_known_; }
    std::vector<Cycle> cycles;

  private:
    const Fit* fit_;
    int teeth_;
    double hz_;
    Eigen::VectorXd energy_;
    bool phase_known_ = false;
    bool has_last_ = false;
    bool connected_ = false;
    int last_ = 0;
    int run_ = 0;
    int section_ = 0;
    std::int64_t last_tick_ = 0;
    double begin_s_ = 0.0;
};

/// Every whole revolution that the search for the wheel found, lost ones counted.
void push_laps(const Lines& lines, const Fold& turns, int first, Collector& collector) {
    std::size_t next = 0;
    for (const Lap& lap : longest_section(turns)) {
        if (lap.first != next) collector.interrupt();
        for (int i = 0; i < turns.edges; ++i) {
            const std::int64_t turn = lap.number - (i < first ? 1 : 0);
            Tooth tooth;
            tooth.tick = std::llround(lines.crank_s[lap.first + static_cast<std::size_t>(i)] / lines.tick_s);
            tooth.index = (i - first + turns.edges) % turns.edges;
            tooth.half = static_cast<std::uint8_t>(((turn % 2) + 2) % 2);
            collector.push(tooth);
        }
        next = lap.first + static_cast<std::size_t>(turns.edges);
    }
}

/// Degrees after which a wheel of even places looks the same.
double looks_same_after_deg(const WheelFinding& wheel) {
    const auto gone = [&](int place) {
        return std::find(wheel.absent.begin(), wheel.absent.end(), place % wheel.positions) != wheel.absent.end();
    };
    for (int turn = 1; turn < wheel.positions; ++turn) {
        if (wheel.positions % turn != 0) continue;
        bool same = true;
        for (int place = 0; place < wheel.positions && same; ++place) same = gone(place) == gone(place + turn);
        if (same) return 360.0 * turn / wheel.positions;
    }
    return 360.0;
}

/// Cycles of unknown phase hang together only without a loss of the wheel between them.
void keep_longest_section(std::vector<Cycle>& cycles) {
    std::map<int, int> count;
    for (const Cycle& cycle : cycles) ++count[cycle.section];
    const auto most =
        std::max_element(count.begin(), count.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
    if (most == count.end()) return;
    std::erase_if(cycles, [&](const Cycle& cycle) { return cycle.section != most->first; });
}

/// 1 without fuel from two cycles before to the cycle's end, 0 with fuel all along, -1 between.
int fuel_state(const Cycle& cycle, const std::vector<std::pair<double, double>>& cuts) {
    const double settled_s = 2.0 * (cycle.end_s - cycle.begin_s);
    for (const auto& [from_s, to_s] : cuts) {
        if (cycle.begin_s - settled_s >= from_s && cycle.end_s <= to_s) return 1;
        if (cycle.end_s > from_s && cycle.begin_s - settled_s < to_s) return -1;
    }
    return 0;
}

struct Sum {
    double energy = 0.0;
    int cycles = 0;
    Eigen::VectorXd sum;
    Eigen::VectorXd square;
};

}  // namespace

CycleSpectrum cycle_spectrum(const EdgeLines& lines, const Lines& unwrapped, const WheelSearch& search,
                             const CamFinding& cam) {
    CycleSpectrum spectrum;
    const WheelFinding& wheel = search.finding;
    Config config;
    if (!wheel.found() || !make_config(lines, wheel, cam, config)) return spectrum;
    const Fit fit(config.crank_wheel);
    spectrum.waves = fit.waves;
    spectrum.told = fit.told;
    spectrum.wheel_error = wheel_errors(fit, wheel);
    spectrum.angles_measured = wheel.positions == 0;
    if (fit.waves < 1) return spectrum;
    Decoder decoder;
    decoder.configure(config);
    Collector collector(fit, wheel.teeth, lines.timer.hz);
    std::array<Tooth, kMaxTeethPerPush> teeth{};
    for (std::size_t i = 0; i < lines.edges; ++i) {
        const Signal signal = lines.signal == nullptr ? Signal::crank : static_cast<Signal>(lines.signal[i]);
        const int count = decoder.push(lines.tick[i], signal, teeth.data());
        for (int k = 0; k < count; ++k) collector.push(teeth[static_cast<std::size_t>(k)]);
    }
    spectrum.phase_known = collector.phase_known();
    if (collector.cycles.empty() && !wheel.absent.empty()) {
        spectrum.turn_deg = looks_same_after_deg(wheel);
        collector = Collector(fit, wheel.teeth, 1.0 / unwrapped.tick_s);
        push_laps(unwrapped, search.turns, search.pattern.first, collector);
        spectrum.phase_known = false;
    }
    const auto& cuts = spectrum.turn_deg < 360.0 ? unwrapped.fuel_cut_s : lines.fuel_cut_s;
    std::vector<Cycle>& cycles = collector.cycles;
    if (!spectrum.phase_known) keep_longest_section(cycles);
    spectrum.cycles = static_cast<int>(cycles.size());

    constexpr double kSpeedStep = 1.22;
    std::map<std::pair<int, bool>, Sum> sums;
    std::vector<MotoredCycle> motored;
    for (std::size_t i = 1; i + 1 < cycles.size(); ++i) {
        if (!cycles[i].follows || !cycles[i + 1].follows) continue;
        const int state = fuel_state(cycles[i], cuts);
        if (state < 0) continue;
        const double slope = 0.5 * (cycles[i + 1].energy - cycles[i - 1].energy);
        const Eigen::VectorXd phasor = cycles[i].fit - slope * fit.slope;
        if (state == 1) motored.push_back({cycles[i].energy, phasor});
        const int bin = static_cast<int>(std::floor(0.5 * std::log(cycles[i].energy) / std::log(kSpeedStep)));
        Sum& sum = sums[{bin, state == 1}];
        if (sum.cycles == 0) sum.sum = sum.square = Eigen::VectorXd::Zero(phasor.size());
        ++sum.cycles;
        sum.energy += cycles[i].energy;
        sum.sum += phasor;
        sum.square += phasor.cwiseAbs2();
    }
    spectrum.motored = motored_line(std::move(motored));
    constexpr int kFewestCycles = 6;
    for (const auto& [key, sum] : sums) {
        if (sum.cycles < kFewestCycles) continue;
        SpectrumPoint point;
        point.cycles = sum.cycles;
        point.energy = sum.energy / sum.cycles;
        point.motored = key.second;
        for (int h = 0; h < fit.waves; ++h) {
            const double real = sum.sum[2 * h] / sum.cycles;
            const double imaginary = sum.sum[2 * h + 1] / sum.cycles;
            point.phasor.emplace_back(real, imaginary);
            const double spread =
                (sum.square[2 * h] + sum.square[2 * h + 1]) / sum.cycles - real * real - imaginary * imaginary;
            // Neighbouring cycles are not independent; that doubles the variance, say.
            point.variance.push_back(std::max(0.0, spread) / sum.cycles);
        }
        spectrum.points.push_back(std::move(point));
    }
    std::sort(spectrum.points.begin(), spectrum.points.end(), [](const SpectrumPoint& a, const SpectrumPoint& b) {
        return a.motored != b.motored ? a.motored : a.cycles > b.cycles;
    });
    constexpr std::size_t kMostPoints = 6;
    if (spectrum.points.size() > kMostPoints) spectrum.points.resize(kMostPoints);
    return spectrum;
}

std::vector<Contrast> contrasts(const CycleSpectrum& spectrum) {
    std::vector<Contrast> all;
    const auto slower = [](const SpectrumPoint& a, const SpectrumPoint& b) {
        return a.motored != b.motored ? b.motored : a.energy < b.energy;
    };
    const auto reference = std::max_element(spectrum.points.begin(), spectrum.points.end(), slower);
    for (auto each = spectrum.points.begin(); each != spectrum.points.end(); ++each) {
        if (each == reference) continue;
        Contrast contrast{*each, 1.0 - each->energy / reference->energy, each->motored && reference->motored};
        // Of two points that do the same at the same speed, noise is left.
        constexpr double kLeast = 0.25;
        if (each->motored == reference->motored && std::abs(contrast.share) < kLeast) continue;
        const double scale = each->energy / reference->energy;
        for (std::size_t h = 0; h < contrast.point.phasor.size(); ++h) {
            contrast.point.phasor[h] -= scale * reference->phasor[h];
            contrast.point.variance[h] += scale * scale * reference->variance[h];
        }
        all.push_back(std::move(contrast));
    }
    return all;
}

}  // namespace kurbel::discover
