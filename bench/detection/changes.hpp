// What cells change in a drawn scenario or in its recording.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <initializer_list>
#include <stdexcept>
#include <utility>
#include <vector>

#include "cell.hpp"
#include "kurbel/simulate/mean_torque.hpp"

namespace kurbel_detection {

using kurbel::simulate::MisfirePattern;
using kurbel::simulate::MisfireRule;

// ---- misfires ----

[[nodiscard]] inline Change random_misfires(double rate, double severity = 1.0) {
    return [=](Scenario& s, Draw&) {
        MisfireRule rule;
        rule.rate = rate;
        rule.severity = severity;
        s.misfires = {rule};
    };
}

/// A cylinder that dies at once can stall the idle before the governor has answered; so they die in three steps while the run
/// settles, and are dead from the recording's first edge to its last.
inline void let_die(Scenario& s, const std::vector<int>& cylinders) {
    MisfireRule rule;
    rule.pattern = MisfirePattern::continuous;
    rule.cylinders = cylinders;
    s.misfires.assign(3, rule);
    s.misfires[0].severity = 1.0 / 3.0;
    s.misfires[1].severity = 2.0 / 3.0;
    s.misfires[1].from_s = -3.5;
    s.misfires[2].from_s = -2.0;
}

/// Places of the firing order that never fire, counted from one that is drawn.
[[nodiscard]] inline Change dead(std::initializer_list<int> places = {0}) {
    return [places = std::vector<int>(places)](Scenario& s, Draw& draw) {
        const int first = draw.pick(s.engine.cylinders);
        std::vector<int> cylinders;
        for (const int place : places)
            cylinders.push_back(s.engine.firing_order[static_cast<std::size_t>((first + place) % s.engine.cylinders)]);
        let_die(s, cylinders);
    };
}

/// One whole bank never fires.
[[nodiscard]] inline Change dead_bank() {
    return [](Scenario& s, Draw& draw) {
        const int bank = 1 + draw.pick(2);
        std::vector<int> cylinders;
        for (int number = 1; number <= s.engine.cylinders; ++number)
            if (s.engine.bank[static_cast<std::size_t>(number - 1)] == bank) cylinders.push_back(number);
        let_die(s, cylinders);
    };
}

/// The same until this time, when they burn again: a plug that was taken off is put back on.
[[nodiscard]] inline Change burns_again(double at_s, std::initializer_list<int> places = {0}) {
    return [=, die = dead(places)](Scenario& s, Draw& draw) {
        die(s, draw);
        for (MisfireRule& rule : s.misfires) rule.to_s = at_s;
        s.seconds = 2.0 * at_s;
    };
}

/// Those whom `dead` takes die at this time, all at once, of an engine that was healthy.
[[nodiscard]] inline Change dies(double at_s, Change dead) {
    return [at_s, dead = std::move(dead)](Scenario& s, Draw& draw) {
        dead(s, draw);
        s.misfires.resize(1);
        s.misfires[0].severity = 1.0;
        s.misfires[0].from_s = at_s;
        s.seconds = 2.0 * at_s;
    };
}
[[nodiscard]] inline Change dies(double at_s, std::initializer_list<int> places = {0}) {
    return dies(at_s, dead(places));
}

/// One cylinder that dies when half of the recording is over, whatever the course is.
[[nodiscard]] inline Change dies_halfway() {
    return [](Scenario& s, Draw& draw) {
        const double seconds = s.seconds;
        dies(0.5 * seconds)(s, draw);
        s.seconds = seconds;
    };
}

/// One cylinder that loses all its firings while the charge is above the middle of what the course holds, and none below: an ignition that breaks
/// down under pressure.
[[nodiscard]] inline Change breaks_down() {
    return [](Scenario& s, Draw& draw) {
        const auto& points = s.operation.load.points();
        const auto [least, most] = std::minmax_element(
            points.begin(), points.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
        const double middle = 0.5 * (least->second + most->second);
        const int cylinder = 1 + draw.pick(s.engine.cylinders);
        s.misfires.clear();
        constexpr double kStep_s = 0.01;
        bool above = false;
        for (double at_s = 0.0; at_s < s.seconds; at_s += kStep_s) {
            const bool now = s.operation.load.at(at_s) > middle;
            if (now && !above) {
                MisfireRule rule;
                rule.pattern = MisfirePattern::continuous;
                rule.cylinders = {cylinder};
                rule.from_s = at_s;
                s.misfires.push_back(rule);
            }
            if (!s.misfires.empty() && above && !now) s.misfires.back().to_s = at_s;
            above = now;
        }
    };
}

/// Places of the firing order that lose their firings at this rate, counted from one that is drawn; a short recording each, for how such an
/// engine is first seen is what matters.
[[nodiscard]] inline Change often(double rate, std::initializer_list<int> places = {0}) {
    return [rate, places = std::vector<int>(places)](Scenario& s, Draw& draw) {
        const int first = draw.pick(s.engine.cylinders);
        MisfireRule rule;
        rule.rate = rate;
        for (const int place : places)
            rule.cylinders.push_back(
                s.engine.firing_order[static_cast<std::size_t>((first + place) % s.engine.cylinders)]);
        s.misfires = {rule};
        s.seconds = 15.0;
    };
}

/// Each cylinder now and then loses several of its firings in a row.
[[nodiscard]] inline Change bursts() {
    return [](Scenario& s, Draw& draw) {
        MisfireRule rule;
        rule.pattern = MisfirePattern::burst;
        rule.rate = 0.006;
        rule.length = 3 + draw.pick(10);
        s.misfires = {rule};
    };
}

[[nodiscard]] inline Change no_misfires() {
    return [](Scenario& s, Draw&) { s.misfires.clear(); };
}

/// All rules begin then.
[[nodiscard]] inline Change misfires_from(double from_s) {
    return [=](Scenario& s, Draw&) {
        for (MisfireRule& rule : s.misfires) rule.from_s = std::max(rule.from_s, from_s);
    };
}

/// What is shut off for a while is so from the first edge on.
[[nodiscard]] inline Change shut_off_first() {
    return [](Scenario& s, Draw&) {
        for (auto& off : s.deactivations) off.from_s = -100.0;
    };
}

// ---- operation ----

/// In gear at a speed between the two, with this share of the full torque there.
[[nodiscard]] inline Change held(double low_rpm, double high_rpm, double share) {
    return [=](Scenario& s, Draw& draw) {
        namespace sim = kurbel::simulate;
        const double speed_rpm = draw.from(low_rpm, high_rpm);
        const double speed_rad_s = speed_rpm * sim::portable::kPi / 30.0;
        const sim::CylinderModel cylinder(s.engine, s.combustion, s.gas_exchange);
        const sim::Friction friction(s);
        const sim::MeanTorque mean(s, cylinder, friction);
        const double full_nm = mean.torque_nm(s.operation.highest_load, speed_rad_s);
        s.operation.mode = sim::Operation::hold;
        s.operation.speed_rpm = sim::Profile(speed_rpm);
        s.operation.load =
            sim::Profile(std::clamp(mean.load_for(share * full_nm, speed_rad_s), 0.02, s.operation.highest_load));
    };
}

/// Clutch open, an idle governor.
[[nodiscard]] inline Change idle(double low_rpm = 700.0, double high_rpm = 900.0) {
    return [=](Scenario& s, Draw& draw) {
        s.operation.mode = kurbel::simulate::Operation::neutral;
        s.operation.speed_rpm = kurbel::simulate::Profile(draw.from(low_rpm, high_rpm));
        s.operation.load = s.operation.load_share = kurbel::simulate::Profile();
    };
}

/// Fast idle with late spark that heats the catalyst, work scattering by `cov` as measured at low load.
[[nodiscard]] inline Change cold_idle(double cov) {
    return [=](Scenario& s, Draw& draw) {
        idle(1100.0, 1300.0)(s, draw);
        s.combustion.retard_deg = kurbel::simulate::Profile(draw.from(20.0, 40.0));
        s.combustion.burn_growth_per_deg = 0.007;
        s.combustion.scatter_low_load = cov * draw.from(0.95, 1.05);
        s.friction.cold_exponent = 0.25;
        s.channels.coolant_c = kurbel::simulate::Profile(20.0);
    };
}

/// Cylinders that differ by up to `spread` in work.
[[nodiscard]] inline Change cylinder_spread(double spread) {
    return [=](Scenario& s, Draw& draw) {
        s.combustion.cylinder_factor.clear();
        for (int i = 0; i < s.engine.cylinders; ++i)
            s.combustion.cylinder_factor.push_back(draw.from(1.0 - spread, 1.0 + spread));
    };
}

/// Up through all speeds and down again at part load, in gear.
[[nodiscard]] inline Change sweep() {
    return [](Scenario& s, Draw& draw) {
        held(2900.0, 3100.0, draw.from(0.3, 0.6))(s, draw);
        s.operation.speed_rpm = kurbel::simulate::Profile(
            {{0.0, 1200.0}, {4.0, 1200.0}, {34.0, 5800.0}, {36.0, 5800.0}, {62.0, 1200.0}, {64.0, 1200.0}});
        s.seconds = 64.0;
    };
}

/// The driver steps on the pedal and lets it go again and again, on the road.
[[nodiscard]] inline Change pedal() {
    return [](Scenario& s, Draw& draw) {
        const double low = draw.from(0.25, 0.35);
        const double high = draw.from(0.6, 0.9);
        s.operation.mode = kurbel::simulate::Operation::road;
        s.operation.speed_rpm = kurbel::simulate::Profile(draw.from(1500.0, 2200.0));
        s.operation.load = kurbel::simulate::Profile({{0.0, low},
                                                      {4.0, low},
                                                      {4.2, high},
                                                      {6.5, high},
                                                      {6.6, low},
                                                      {11.0, low},
                                                      {11.2, high},
                                                      {13.0, high},
                                                      {14.0, 0.2},
                                                      {20.0, 0.2}});
        s.seconds = 20.0;
    };
}

/// The same course again and again: what a profile does in the scenario's seconds, it does `times` times.
[[nodiscard]] inline Change repeated(int times) {
    return [=](Scenario& s, Draw&) {
        using kurbel::simulate::Profile;
        const double period_s = s.seconds;
        const auto repeat = [&](Profile& profile) {
            if (profile.points().size() < 2) return;
            std::vector<std::pair<double, double>> points;
            for (int k = 0; k < times; ++k)
                for (const auto& [time_s, value] : profile.points()) points.emplace_back(k * period_s + time_s, value);
            profile = Profile(std::move(points));
        };
        repeat(s.operation.speed_rpm);
        repeat(s.operation.load);
        repeat(s.gearbox.clutch);
        const auto add_later = [&](auto& list, auto&& shift) {
            const auto once = list;
            for (int k = 1; k < times; ++k)
                for (auto item : once) {
                    shift(item, k * period_s);
                    list.push_back(item);
                }
        };
        const auto from_to = [](auto& item, double later_s) {
            item.from_s += later_s;
            item.to_s += later_s;
        };
        if (s.gearbox.gear.size() > 1)
            add_later(s.gearbox.gear, [](auto& change, double later_s) { change.first += later_s; });
        add_later(s.fuel_cuts, from_to);
        add_later(s.accessories, from_to);
        s.seconds = period_s * times;
    };
}

/// An uneven road between half and twice this roughness (ISO 8608's displacement density at 0.1 cycles/m).
[[nodiscard]] inline Change rough_road(double roughness_m3) {
    return [=](Scenario& s, Draw& draw) {
        s.tyre.on = true;
        s.road.kind = kurbel::simulate::RoadKind::random;
        s.road.roughness_m3 = roughness_m3 * std::exp2(draw.from(-1.0, 1.0));
    };
}

// ---- measurement ----

[[nodiscard]] inline Change wheel(int positions, std::vector<int> absent) {
    return [=](Scenario& s, Draw&) {
        const double tdc1_deg = s.crank_wheel.tdc1_deg;
        const kurbel::SensorAt at = s.crank_wheel.at;
        s.crank_wheel = {};
        s.crank_wheel.tdc1_deg = tdc1_deg;
        s.crank_wheel.at = at;
        if (!kurbel::make_even_wheel(positions, absent.data(), static_cast<int>(absent.size()), s.crank_wheel))
            throw std::logic_error("a wheel of the cells cannot be made");
    };
}

[[nodiscard]] inline Change timer(double hz) {
    return [=](Scenario& s, Draw&) {
        s.has_timer = true;
        s.timer = {hz, 32};
    };
}

[[nodiscard]] inline Change sensor_at(kurbel::SensorAt at) {
    return [=](Scenario& s, Draw&) { s.crank_wheel.at = at; };
}

[[nodiscard]] inline Change edges_lost_and_added(double share) {
    return [=](Scenario& s, Draw&) { s.wheel_error.missed = s.wheel_error.extra = share; };
}

[[nodiscard]] inline Change torsion(double hz) {
    return [=](Scenario& s, Draw&) { s.crank.first_torsion_hz = hz; };
}

[[nodiscard]] inline Change load_gain(double gain) {
    return [=](Scenario& s, Draw&) { s.channels.load_gain = gain; };
}

/// The load channel tells everything later by `late_s`.
[[nodiscard]] inline Tamper load_late(double late_s) {
    return [=](Recording& recording) {
        const auto late = static_cast<std::int64_t>(std::llround(late_s * recording.config.timer.hz));
        for (kurbel::read::ChannelRow& row : recording.channels)
            if (row.channel == kurbel::Channel::load) row.tick += late;
        std::stable_sort(recording.channels.begin(), recording.channels.end(),
                         [](const auto& a, const auto& b) { return a.tick < b.tick; });
    };
}

[[nodiscard]] inline Tamper no_load() {
    return [](Recording& recording) {
        std::erase_if(recording.channels, [](const auto& row) { return row.channel == kurbel::Channel::load; });
    };
}

}  // namespace kurbel_detection
