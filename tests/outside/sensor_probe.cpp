// Shows what an inductive sensor makes of a wheel to the script beside it.
//   sensor_probe SCENARIO    radius, pole and so on, then of each tooth centre, width, height and the zero crossing found, as JSON;
//                            and the voltage at 1000 rpm every 0.02 degrees of one turn from place 0 on
#include <cstdio>
#include <exception>

#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/wheel.hpp"

namespace {

using namespace kurbel::simulate;

void show(const Scenario& scenario) {
    const WheelSensor sensor(scenario);
    std::printf("{\"edge_deg\": [");
    const char* comma = "";
    for (const double edge : sensor.true_angle_deg()) {
        std::printf("%s%.17g", comma, edge);
        comma = ", ";
    }
    std::printf("], \"volts\": [");
    comma = "";
    const double rad = portable::kPi / 180.0;
    for (int i = 0; i < 18000; ++i) {
        const double angle = (0.02 * i - scenario.crank_wheel.tdc1_deg) * rad;
        std::printf("%s%.17g", comma, sensor.volts(angle, 1000.0 * portable::kPi / 30.0, 0.0));
        comma = ", ";
    }
    std::printf("]}\n");
}

}  // namespace

int main(int argc, char** argv) {
    if (argc != 2) return 2;
    try {
        show(read_scenario(argv[1]));
    } catch (const std::exception& error) {
        std::fprintf(stderr, "sensor_probe: %s\n", error.what());
        return 3;
    }
    return 0;
}
