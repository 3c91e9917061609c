#include "kurbel/simulate/description.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "kurbel/simulate/driveline.hpp"
#include "kurbel/simulate/mean_torque.hpp"
#include "kurbel/simulate/simulator.hpp"

namespace kurbel::simulate {

namespace {

constexpr double kRpm = portable::kPi / 30.0;

/// Amplitudes of the mode at `omega` by inverse iteration on K - w^2 J, a hair beside the mode so that it can be solved.
std::vector<double> shape_of(const TorsionChain& chain, double omega) {
    const auto n = static_cast<std::size_t>(chain.masses);
    const double square = omega * omega * (1.0 + 1e-9);
    std::vector<double> shape(n, 0.0);
    for (std::size_t i = 0; i < n; ++i)
        shape[i] = 1.0 - 0.37 * static_cast<double>(i * i % 7);  // near no mode's opposite
    std::vector<double> pivot(n);
    for (int round = 0; round < 4; ++round) {
        for (std::size_t i = 0; i < n; ++i) shape[i] *= chain.inertia_kg_m2[i];
        for (std::size_t i = 0; i < n; ++i) {
            const double before = i > 0 ? chain.stiffness_nm_rad[i - 1] : 0.0;
            const double after = i + 1 < n ? chain.stiffness_nm_rad[i] : 0.0;
            pivot[i] = before + after - square * chain.inertia_kg_m2[i];
            if (i > 0) {
                pivot[i] -= before * before / pivot[i - 1];
                shape[i] += before / pivot[i - 1] * shape[i - 1];
            }
        }
        for (std::size_t i = n; i-- > 0;) {
            if (i + 1 < n) shape[i] += chain.stiffness_nm_rad[i] * shape[i + 1];
            shape[i] /= pivot[i];
        }
        const double largest = std::fabs(*std::max_element(
            shape.begin(), shape.end(), [](double a, double b) { return std::fabs(a) < std::fabs(b); }));
        const double sign = shape[0] < 0.0 ? -1.0 : 1.0;
        for (double& amplitude : shape) amplitude *= sign / largest;
    }
    return shape;
}

std::vector<std::string> mass_names(const Scenario& scenario, const CrankLayout& layout, int masses) {
    std::vector<std::string> names;
    if (layout.front > 0) names.emplace_back("damper ring");
    names.emplace_back("pulley");
    for (int i = 1; i <= layout.throws; ++i) names.push_back("throw " + std::to_string(i));
    names.emplace_back("flywheel");
    if (layout.rear != layout.flywheel) names.emplace_back("second flywheel mass");
    if (static_cast<int>(names.size()) < masses) names.emplace_back("gearbox");
    if (static_cast<int>(names.size()) + 1 < masses)
        names.emplace_back(scenario.tyre.on ? "wheels" : "wheels and vehicle");
    if (static_cast<int>(names.size()) < masses) names.emplace_back("vehicle");
    return names;
}

/// Gear of the recording's start, 0 where none is in.
int first_gear(const GearboxSettings& box) {
    int gear = box.gear.empty() ? 1 : box.gear.front().second;
    for (const auto& [time_s, next] : box.gear)
        if (time_s <= 0.0) gear = next;
    return gear;
}

/// The scenario held at its first operating point, without anything that differs from cycle to cycle.
Scenario held(const Scenario& scenario) {
    Scenario s = scenario;
    CombustionSettings& combustion = s.combustion;
    combustion.scatter = combustion.scatter_low_load = combustion.ca50_scatter_deg = 0.0;
    combustion.slow_share = combustion.slow_share_low_load = 0.0;
    if (!combustion.retard_deg.empty()) combustion.retard_deg = Profile(combustion.retard_deg.at(0.0));
    s.misfires.clear();
    s.accessories.clear();
    s.road.kind = RoadKind::smooth;
    s.brake.torque_nm = Profile();
    // No clock but simulated time, and nothing in the way of the sensors.
    s.has_timer = false;
    s.timer = {};
    s.capture = {};
    s.told = {};
    s.dropouts.clear();
    s.channels = {};
    s.channels.load_noise = 0.0;
    s.channels.coolant_c = Profile(scenario.channels.coolant_c.at(0.0));  // a cold engine rubs more
    OperationSettings& operation = s.operation;
    if (operation.mode == Operation::cranking) {
        constexpr double kEnough_s = 6.0;
        s.seconds = std::min(s.seconds, kEnough_s);
        return s;
    }
    s.fuel_cuts.clear();  // where a starter alone turns the engine, the cut is how it is run
    operation.speed_rpm = Profile(operation.speed_rpm.at(0.0));
    if (!operation.load.empty()) operation.load = Profile(operation.load.at(0.0));
    for (Profile* profile : {&s.manifold.throttle, &s.manifold.boost_bar})
        if (!profile->empty()) *profile = Profile(profile->at(0.0));
    if (!operation.speed_kmh.empty()) operation.speed_kmh = Profile(operation.speed_kmh.at(0.0));
    s.gearbox.gear = {{0.0, first_gear(s.gearbox)}};
    s.gearbox.clutch = Profile(s.gearbox.clutch.at(0.0));
    if (operation.mode == Operation::start) operation.mode = Operation::neutral;
    // A drive at a given load gathers speed; here the speed shall stay.
    if (operation.mode == Operation::road && !operation.load.empty()) operation.mode = Operation::hold;
    s.start_deg = -1.0;
    s.settle_s = std::max(s.settle_s, 5.0);
    const double cycle_s = s.engine.cycle_deg() / (6.0 * operation.speed_rpm.at(0.0));
    s.seconds = std::max(1.0, 12.0 * cycle_s);
    return s;
}

struct Sample {
    double time_s;
    double angle_rad;  ///< of the flywheel, from the start on without a break
    double flywheel_rad_s;
    double sensor_rad_s;
};

struct Trace {
    std::vector<Sample> samples;
    read::Recording recording;

    /// Where the flywheel has turned to `angle_rad`.
    [[nodiscard]] Sample at_angle(double angle_rad) const {
        const auto after = std::lower_bound(samples.begin(), samples.end(), angle_rad,
                                            [](const Sample& s, double a) { return s.angle_rad < a; });
        if (after == samples.begin()) return samples.front();
        if (after == samples.end()) return samples.back();
        const Sample& low = *(after - 1);
        const double share = (angle_rad - low.angle_rad) / (after->angle_rad - low.angle_rad);
        const auto mix = [share](double a, double b) { return a + share * (b - a); };
        return {mix(low.time_s, after->time_s), angle_rad, mix(low.flywheel_rad_s, after->flywheel_rad_s),
                mix(low.sensor_rad_s, after->sensor_rad_s)};
    }
};

Trace run(const Scenario& scenario) {
    Trace trace;
    double lowered = 0.0;
    const bool rear = scenario.crank_wheel.at == SensorAt::flywheel;
    trace.recording = simulate(scenario, {}, [&](const EngineModel& model, double time_s) {
        const auto flywheel = static_cast<std::size_t>(model.layout().flywheel);
        const auto sensor = rear ? flywheel : static_cast<std::size_t>(model.layout().front);
        const double cycle = model.cylinder().cycle_rad();
        double angle = model.angle_rad[flywheel] + lowered;
        // The model lowers its angles by whole cycles now and then.
        if (!trace.samples.empty() && angle < trace.samples.back().angle_rad - 0.5 * cycle) {
            const double back = std::floor((trace.samples.back().angle_rad - angle) / cycle + 0.5) * cycle;
            lowered += back;
            angle += back;
        }
        trace.samples.push_back({time_s, angle, model.speed_rad_s[flywheel], model.speed_rad_s[sensor]});
    });
    return trace;
}

/// Mean over whole cycles of the highest less the lowest value.
double swing(const Trace& trace, double cycle_rad, double Sample::*speed) {
    double sum = 0.0;
    int cycles = 0;
    std::size_t i = 0;
    for (double from = trace.samples.front().angle_rad; from + cycle_rad <= trace.samples.back().angle_rad;
         from += cycle_rad) {
        double low = 1e300;
        double high = -1e300;
        for (; i < trace.samples.size() && trace.samples[i].angle_rad < from + cycle_rad; ++i) {
            low = std::min(low, trace.samples[i].*speed);
            high = std::max(high, trace.samples[i].*speed);
        }
        sum += high - low;
        ++cycles;
    }
    return cycles > 0 ? sum / cycles : 0.0;
}

void add_lost_firing(const Scenario& scenario, const Trace& healthy, double cycle_rad, RunningFigures& figures) {
    const double turn_s = 60.0 / figures.speed_rpm;
    const double middle_s = 0.5 * scenario.seconds;
    const auto firing =
        std::find_if(healthy.recording.truth.begin(), healthy.recording.truth.end(),
                     [&](const read::TruthRow& row) { return row.cylinder == 1 && row.time_s >= middle_s; });
    if (firing == healthy.recording.truth.end()) return;
    // The charge is trapped half a turn before TDC: there it is decided.
    MisfireRule rule;
    rule.pattern = MisfirePattern::continuous;
    rule.cylinders = {1};
    rule.from_s = firing->time_s - 0.75 * turn_s;
    rule.to_s = firing->time_s - 0.25 * turn_s;
    Scenario faulty = scenario;
    faulty.misfires = {rule};
    figures.drop_rpm = figures.sensor_drop_rpm = 0.0;
    const Trace lost = run(faulty);
    const auto at = std::lower_bound(healthy.samples.begin(), healthy.samples.end(), firing->time_s,
                                     [](const Sample& s, double t) { return s.time_s < t; });
    const double tdc = std::floor(at->angle_rad / cycle_rad + 0.5) * cycle_rad;
    // The crank rings after a lost firing: a mean over half a turn, from a quarter turn after TDC on, is what lasts.
    constexpr int kPoints = 180;
    for (int i = 0; i < kPoints; ++i) {
        const double angle = tdc + portable::kPi * (0.5 + (i + 0.5) / kPoints);
        const Sample with = healthy.at_angle(angle);
        const Sample without = lost.at_angle(angle);
        figures.drop_rpm += (with.flywheel_rad_s - without.flywheel_rad_s) / kRpm / kPoints;
        figures.sensor_drop_rpm += (with.sensor_rad_s - without.sensor_rad_s) / kRpm / kPoints;
    }
}

}  // namespace

MachineFigures machine_figures(const Scenario& scenario) {
    MachineFigures figures;
    const EngineConfig& engine = scenario.engine;
    figures.displacement_l = 1e3 * SliderCrank::from(engine).displacement_m3() * engine.cylinders;
    for (int i = 0; i < engine.cylinders; ++i) {
        const auto n = static_cast<std::size_t>(i);
        const bool last = i + 1 == engine.cylinders;
        const double next = last ? engine.cycle_deg() : engine.firing_tdc_deg[n + 1];
        figures.interval_deg.push_back(next - engine.firing_tdc_deg[n]);
    }
    const CrankLayout layout = make_crank_layout(scenario);
    const int before_clutch = layout.rear + 1;
    figures.rotating_kg_m2 =
        std::accumulate(layout.chain.inertia_kg_m2.begin(), layout.chain.inertia_kg_m2.begin() + before_clutch, 0.0);
    figures.reciprocating_kg_m2 = engine.cylinders * mean_reciprocating_inertia(engine);
    TorsionChain chain = mean_chain(layout, engine);
    const int gear = first_gear(scenario.gearbox);
    if (has_driveline(scenario) && gear > 0) chain = driveline_chain(scenario, layout, chain, gear);
    figures.masses = mass_names(scenario, layout, chain.masses);
    for (int i = 1; i < chain.masses; ++i) {
        const double omega = chain.mode_rad_s(i);
        figures.modes.push_back({omega / (2.0 * portable::kPi), shape_of(chain, omega)});
    }
    return figures;
}

RunningFigures running_figures(const Scenario& scenario) {
    RunningFigures figures;
    const Scenario s = held(scenario);
    const bool cranking = s.operation.mode == Operation::cranking;
    const Trace trace = run(s);
    const double cycle_rad = s.engine.cycle_deg() * portable::kPi / 180.0;
    const Sample& first = trace.samples.front();
    const Sample& last = trace.samples.back();
    figures.speed_rpm = (last.angle_rad - first.angle_rad) / (last.time_s - first.time_s) / kRpm;
    figures.runs =
        figures.speed_rpm > (cranking ? 20.0 : 0.5 * s.operation.speed_rpm.at(0.0)) && last.flywheel_rad_s > 1.0;
    if (!figures.runs) return figures;
    double loads = 0.0;
    int rows = 0;
    for (const read::ChannelRow& row : trace.recording.channels)
        if (row.channel == Channel::load) {
            loads += row.value;
            ++rows;
        }
    figures.load = rows > 0 ? loads / rows : kUnknown;
    double work = 0.0;
    for (const read::TruthRow& row : trace.recording.truth) work += row.work_j;
    figures.work_j =
        trace.recording.truth.empty() ? kUnknown : work / static_cast<double>(trace.recording.truth.size());
    const SliderCrank geometry = SliderCrank::from(s.engine);
    figures.imep_bar = 1e-5 * figures.work_j / geometry.displacement_m3();
    const CylinderModel cylinder(s.engine, s.combustion, s.gas_exchange);
    Friction friction(s);
    MeanTorque mean(s, cylinder, friction);
    const double speed = figures.speed_rpm * kRpm;
    const double factor = friction_factor(s.friction, s.channels.coolant_c.at(0.0));
    const double retard_deg = s.combustion.retard_deg.at(0.0);
    friction.set_factor(factor);
    mean.set_conditions(retard_deg > 0.0 ? SparkEfficiency(s, cylinder).at(retard_deg) : 1.0, factor);
    figures.friction_nm = friction.torque_nm(speed);
    figures.brake_nm = mean.torque_nm(figures.load, speed);
    figures.swing_rpm = swing(trace, cycle_rad, &Sample::flywheel_rad_s) / kRpm;
    figures.sensor_swing_rpm = swing(trace, cycle_rad, &Sample::sensor_rad_s) / kRpm;
    figures.drop_rpm = figures.sensor_drop_rpm = figures.rigid_drop_rpm = kUnknown;
    if (cranking) return figures;
    figures.rigid_drop_rpm = figures.work_j / (EngineModel(s).engine_inertia_kg_m2() * speed) / kRpm;
    add_lost_firing(s, trace, cycle_rad, figures);
    return figures;
}

}  // namespace kurbel::simulate
