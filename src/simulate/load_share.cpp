#include <algorithm>
#include <utility>
#include <vector>

#include "kurbel/simulate/mean_torque.hpp"
#include "simulate/scenario_parts.hpp"

namespace kurbel::simulate {

void resolve_load_share(Scenario& s) {
    OperationSettings& operation = s.operation;
    if (operation.load_share.empty()) return;
    const CylinderModel cylinder(s.engine, s.combustion, s.gas_exchange);
    const Friction friction(s);
    const MeanTorque mean(s, cylinder, friction);
    // Wherever speed or share turns a corner; between corners the load is close enough to a straight line.
    std::vector<double> times;
    for (const Profile* profile : {&operation.speed_rpm, &operation.load_share})
        for (const auto& point : profile->points()) times.push_back(point.first);
    std::sort(times.begin(), times.end());
    std::vector<std::pair<double, double>> load;
    const auto add = [&](double time_s, double share) {
        const double speed = operation.speed_rpm.at(time_s) * portable::kPi / 30.0;
        const double torque = share * mean.torque_nm(operation.highest_load, speed);
        const double charge = mean.load_for(torque, speed);
        load.emplace_back(time_s, std::clamp(charge, 0.02, operation.highest_load));
    };
    for (std::size_t i = 0; i < times.size(); ++i) {
        if (i > 0 && times[i] == times[i - 1]) continue;
        // A step has two values at one time: that of just before, and its own.
        const double before = operation.load_share.at(times[i] - 1e-9);
        const double at = operation.load_share.at(times[i]);
        if (before > at + 1e-6 || before < at - 1e-6) add(times[i], before);
        add(times[i], at);
    }
    operation.load = Profile(std::move(load));
}

}  // namespace kurbel::simulate
