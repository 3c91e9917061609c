#include "discover/cycle_spectrum.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "discover/cycle_collector.hpp"
#include "discover/cycle_fit.hpp"
#include "kurbel/stage/decoder.hpp"

namespace kurbel::discover {

namespace {

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

/// Every whole revolution that the search for the wheel found, lost ones counted.
void push_laps(const Lines& lines, const Fold& turns, int first, CycleCollector& collector) {
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
    const CycleFit fit(config.crank_wheel);
    spectrum.waves = fit.waves;
    spectrum.told = fit.told;
    spectrum.wheel_error = wheel_errors(fit, wheel);
    spectrum.angles_measured = wheel.positions == 0;
    if (fit.waves < 1) return spectrum;
    Decoder decoder;
    decoder.configure(config);
    CycleCollector collector(fit, wheel.teeth, lines.timer.hz);
    std::array<Tooth, kMaxTeethPerPush> teeth{};
    for (std::size_t i = 0; i < lines.edges; ++i) {
        const Signal signal = lines.signal == nullptr ? Signal::crank : static_cast<Signal>(lines.signal[i]);
        const int count = decoder.push(lines.tick[i], signal, teeth.data());
        for (int k = 0; k < count; ++k) collector.push(teeth[static_cast<std::size_t>(k)]);
    }
    spectrum.phase_known = collector.phase_known();
    if (collector.cycles.empty() && !wheel.absent.empty()) {
        spectrum.turn_deg = looks_same_after_deg(wheel);
        collector = CycleCollector(fit, wheel.teeth, 1.0 / unwrapped.tick_s);
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
    constexpr std::size_t kMostFired = 3;
    for (const SpectrumPoint& point : spectrum.points)
        if (!point.motored && spectrum.fired.size() < kMostFired) spectrum.fired.push_back(point);
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
