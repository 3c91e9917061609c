#include "simulate/recorder.hpp"

#include <algorithm>
#include <cmath>

#include "kurbel/simulate/capture.hpp"
#include "simulate/rounding.hpp"
#include "simulate/streams.hpp"

namespace kurbel::simulate {

Recorder::Recorder(const Scenario& scenario, DeepTruth* deep)
    : scenario_(scenario), deep_(deep), noise_(scenario.seed, stream::kChannel) {
    recording_.config.engine = scenario.engine;
    recording_.config.crank_wheel = scenario.crank_wheel;
    recording_.config.cam_wheel = scenario.cam_wheel;
    if (scenario.has_timer) recording_.config.timer = scenario.timer;
    tell(scenario, recording_.config);
    recording_.has_truth = true;
}

void Recorder::begin(double wheel_rad, double cycle_rad) {
    if (deep_ == nullptr) return;
    *deep_ = {};
    deep_->start_deg = (wheel_rad - std::floor(wheel_rad / cycle_rad) * cycle_rad) * 180.0 / portable::kPi;
}

void Recorder::look(double time_s, const Shown& shown, const FiringMaker& firing) {
    if (time_s >= next_sample_s_ - 1e-9) {
        write_channels(time_s, shown, firing);
        next_sample_s_ += scenario_.channels.every_s;
    }
    if (deep_ == nullptr || shown.battery_v <= 0.0) return;
    if (time_s >= deep_->battery_every_s * static_cast<double>(deep_->battery_v.size()) - 1e-9)
        deep_->battery_v.push_back(shown.battery_v);
}

void Recorder::write_channels(double time_s, const Shown& shown, const FiringMaker& firing) {
    const ChannelSettings& channels = scenario_.channels;
    if (!channels.write) return;
    const double load = channels.load_gain * shown.load + channels.load_noise * noise_.normal();
    const auto add = [&](Channel channel, double value, double per_unit) {
        samples_.push_back({time_s, channel, rounded(value, per_unit)});
    };
    if (scenario_.told.load) add(Channel::load, std::max(0.0, load), 1e4);
    add(Channel::fuel_cut, shown.fuel_cut ? 1.0 : 0.0, 1.0);
    for (int n = 1; n <= scenario_.engine.cylinders; ++n) {
        const bool named = std::any_of(scenario_.fuel_cuts.begin(), scenario_.fuel_cuts.end(),
                                       [n](const FuelCut& cut) { return cut.cylinder == n; });
        const bool closes =
            std::any_of(scenario_.deactivations.begin(), scenario_.deactivations.end(), [n](const Deactivation& rule) {
                return std::find(rule.cylinders.begin(), rule.cylinders.end(), n) != rule.cylinders.end();
            });
        const bool cut = firing.fuel_is_cut(n, time_s) || (closes && firing.deactivation(n, time_s) != nullptr);
        if (named || closes) add(fuel_cut_channel(n), cut ? 1.0 : 0.0, 1.0);
    }
    add(Channel::coolant_c, channels.coolant_c.at(time_s), 10.0);
    // A speed sensor does not tell forward from backward.
    if (shown.in_gear) add(Channel::vehicle_kmh, std::fabs(shown.vehicle_kmh), 10.0);
}

void Recorder::assemble_deep(CylinderRuns& cylinders, const WheelSensor& sensor, double clock_shift_s) {
    const WheelConfig& wheel = scenario_.crank_wheel;
    deep_->true_deg = sensor.true_angle_deg();
    for (std::size_t i = 0; i < static_cast<std::size_t>(wheel.teeth); ++i) {
        const double angle = static_cast<double>(wheel.angle_deg[i]);
        const double pitch = wheel.positions > 0 ? 360.0 / wheel.positions : 0.0;
        const double place = pitch > 0.0 ? std::floor(angle / pitch + 0.5) : static_cast<double>(i);
        deep_->tooth_place.push_back(static_cast<std::int32_t>(place));
        deep_->nominal_deg.push_back(pitch > 0.0 ? place * pitch : angle);
    }
    for (const SimulatedEdge& edge : edges) {
        const bool tooth = edge.signal == Signal::crank && edge.tooth >= 0;
        deep_->edge_place.push_back(tooth ? deep_->tooth_place[static_cast<std::size_t>(edge.tooth)] : edge.tooth);
    }
    deep_->firings = std::move(cylinders.detail);
    for (FiringTruth& firing : deep_->firings) firing.time_s -= clock_shift_s;
}

read::Recording Recorder::assemble(CylinderRuns& cylinders, const WheelSensor& sensor) {
    const TimerConfig& timer = recording_.config.timer;
    disturb(scenario_, edges);
    CapturedEdges captured = capture(edges, timer, scenario_.capture);
    recording_.tick = std::move(captured.tick);
    recording_.signal = std::move(captured.signal);
    recording_.truth = std::move(cylinders.truth);
    for (read::TruthRow& row : recording_.truth) row.time_s -= captured.clock_shift_s;
    if (deep_ != nullptr) assemble_deep(cylinders, sensor, captured.clock_shift_s);
    for (const Sample& sample : samples_)
        recording_.channels.push_back(
            {static_cast<std::int64_t>(std::ceil((sample.time_s - captured.clock_shift_s) * timer.hz - 1e-6)),
             sample.channel, sample.value});
    return std::move(recording_);
}

}  // namespace kurbel::simulate
