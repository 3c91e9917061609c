// Shows crank, driveline and road to the scripts beside it, which compute the same by other means.
//   machine_probe modes SCENARIO                inertias, stiffnesses, natural frequencies: crank, then each gear, JSON
//   machine_probe orders SCENARIO RPM LOAD      angular momentum over one cycle of a crank too heavy to change speed, CSV
//   machine_probe response SCENARIO GEAR KMH AMPLITUDE HZ...   a torque at the front end swings an engine without gas,
//                                               dry friction and drag: speeds of flywheel and wheels over time, CSV, one block a frequency
//   machine_probe road SCENARIO METRES          height of the road every centimetre
//   machine_probe wheel SCENARIO KMH SECONDS    time and what the road does to the wheels every millisecond, CSV
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>

#include "kurbel/simulate/engine_model.hpp"
#include "kurbel/simulate/scenario_file.hpp"

namespace {

using namespace kurbel;
using namespace kurbel::simulate;

constexpr double kTwoPi = 2.0 * portable::kPi;

void print_list(const char* name, const double* values, int count, const char* end) {
    std::printf("\"%s\": [", name);
    for (int i = 0; i < count; ++i) std::printf("%s%.17g", i > 0 ? ", " : "", values[i]);
    std::printf("]%s", end);
}

void print_chain(const TorsionChain& chain, const char* end) {
    std::array<double, kMaxMasses> hz{};
    for (int i = 0; i < chain.masses; ++i) hz[static_cast<std::size_t>(i)] = chain.mode_rad_s(i) / kTwoPi;
    std::printf("{");
    print_list("inertia_kg_m2", chain.inertia_kg_m2.data(), chain.masses, ", ");
    print_list("stiffness_nm_rad", chain.stiffness_nm_rad.data(), chain.masses - 1, ", ");
    print_list("mode_hz", hz.data(), chain.masses, "}");
    std::printf("%s\n", end);
}

void modes(Scenario scenario) {
    scenario.operation.mode = Operation::neutral;
    const CrankLayout layout = make_crank_layout(scenario);
    const TorsionChain crank = mean_chain(layout, scenario.engine);
    const auto gears = scenario.gearbox.ratios.size();
    std::printf("[");
    print_chain(crank, gears > 0 ? "," : "]");
    for (std::size_t gear = 1; gear <= gears; ++gear)
        print_chain(driveline_chain(scenario, layout, crank, static_cast<int>(gear)), gear < gears ? "," : "]");
}

void orders(Scenario scenario, double rpm, double load) {
    scenario.operation.mode = Operation::neutral;
    scenario.engine.inertia_kg_m2 *= 1e6;
    EngineModel model(scenario);
    for (std::size_t c = 0; c < static_cast<std::size_t>(scenario.engine.cylinders); ++c)
        model.charge[c] = nominal_charge(scenario, model.cylinder(), load);
    model.manifold_pa = manifold_pa(scenario.combustion, load);
    const double speed = rpm * portable::kPi / 30.0;
    model.start(0.0, speed);
    constexpr int kPoints = 1440;
    const double cycle = model.cylinder().cycle_rad();
    const double interval = cycle / speed / kPoints;
    const int steps = static_cast<int>(std::ceil(interval / model.longest_step_s(speed)));
    const TorsionChain& chain = model.layout().chain;
    for (int i = 0; i <= kPoints; ++i) {
        double momentum = 0.0;
        for (int m = 0; m < chain.masses; ++m) {
            const auto n = static_cast<std::size_t>(m);
            momentum += chain.inertia_kg_m2[n] * (model.speed_rad_s[n] - speed);
        }
        std::printf("%.17g,%.17g\n", i * interval * speed, momentum);
        for (int k = 0; k < steps; ++k) {
            model.step(interval / steps);
            for (std::size_t c = 0; c < static_cast<std::size_t>(model.cylinders()); ++c)
                if (model.cylinder_rad(c) >= 0.5 * cycle) model.firing_tdc_rad[c] += cycle;
        }
    }
}

void response(Scenario scenario, int gear, double kmh, double amplitude_nm, double hz) {
    // No gas, no friction, no moving pistons: what is left is linear.
    scenario.engine.bore_mm = 0.01;
    scenario.engine.reciprocating_kg = 1e-12;
    scenario.friction.constant_bar = scenario.friction.linear_bar = scenario.friction.square_bar = 0.0;
    scenario.friction.accessories_nm = 0.0;
    scenario.dual_mass.hysteresis_nm = 0.0;
    scenario.driveline.rolling_n = scenario.driveline.drag_n_s2_m2 = 0.0;
    scenario.operation.mode = Operation::road;
    scenario.gearbox.gear = {{0.0, gear}};
    EngineModel model(scenario);
    model.control(0.0, 1e-3);
    const double ratio = scenario.gearbox.ratios[static_cast<std::size_t>(gear - 1)] * scenario.gearbox.final_drive;
    const double speed = kmh / 3.6 / scenario.driveline.wheel_radius_m * ratio;
    model.start(0.0, speed);
    model.control(0.0, 1e-3);
    constexpr int kRows = 64;  // in a period
    const double interval = 1.0 / hz / kRows;
    const int steps = static_cast<int>(std::ceil(interval / model.longest_step_s(speed)));
    const double h = interval / steps;
    const int settle = static_cast<int>(std::ceil(6.0 * hz)) + 4;  // periods
    const auto flywheel = static_cast<std::size_t>(model.layout().flywheel);
    double time_s = 0.0;
    for (int period = 0; period < settle + 4; ++period)
        for (int row = 0; row < kRows; ++row) {
            if (period >= settle)
                std::printf("%.17g,%.17g,%.17g,%.17g\n", hz, time_s, model.speed_rad_s[flywheel],
                            model.driveline().state[DrivelineState::wheel_rad_s]);
            for (int k = 0; k < steps; ++k) {
                model.accessory_nm = amplitude_nm * portable::sin(kTwoPi * hz * (time_s + 0.5 * h));
                model.step(h);
                static_cast<void>(model.rebase());
                for (std::size_t c = 0; c < static_cast<std::size_t>(model.cylinders()); ++c)
                    while (model.cylinder_rad(c) >= 0.5 * model.cylinder().cycle_rad())
                        model.firing_tdc_rad[c] += model.cylinder().cycle_rad();
                time_s += h;
            }
        }
}

void road(const Scenario& scenario, double metres) {
    RoadProfile profile(scenario.road, scenario.seed);
    const auto count = static_cast<long>(metres / RoadProfile::kStepM);
    for (long i = 0; i < count; ++i) std::printf("%.9g\n", profile.next());
}

void wheel(const Scenario& scenario, double kmh, double seconds) {
    RoadWheel wheel(scenario);
    const int rows = static_cast<int>(1000.0 * seconds);
    for (int i = 0; i < rows; ++i) {
        wheel.advance(1e-3 * i, 1e-3, kmh / 3.6);
        const WheelOnRoad& now = wheel.now();
        std::printf("%.6f,%.12g,%.12g,%.12g\n", 1e-3 * (i + 1), now.load_share, now.radius_m, now.push_n);
    }
}

}  // namespace

int main(int argc, char** argv) {
    try {
        const std::string what = argc > 2 ? argv[1] : "";
        const auto number = [&](int i) { return std::strtod(argv[i], nullptr); };
        if (what == "modes" && argc == 3) {
            modes(read_scenario(argv[2]));
        } else if (what == "orders" && argc == 5) {
            orders(read_scenario(argv[2]), number(3), number(4));
        } else if (what == "response" && argc > 6) {
            for (int i = 6; i < argc; ++i)
                response(read_scenario(argv[2]), static_cast<int>(number(3)), number(4), number(5), number(i));
        } else if (what == "road" && argc == 4) {
            road(read_scenario(argv[2]), number(3));
        } else if (what == "wheel" && argc == 5) {
            wheel(read_scenario(argv[2]), number(3), number(4));
        } else {
            std::fprintf(stderr, "machine_probe: see the head of its source\n");
            return 2;
        }
    } catch (const std::exception& error) {
        std::fprintf(stderr, "machine_probe: %s\n", error.what());
        return 3;
    }
    return 0;
}
