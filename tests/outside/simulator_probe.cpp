// Shows the simulator's inside to the scripts beside it, which compute the same by other means.
//   simulator_probe modes SCENARIO             inertias, stiffnesses and natural frequencies of the chain, as JSON
//   simulator_probe torque SCENARIO RPM LOAD   gas and inertia torque of every cylinder over one cycle at steady speed, CSV
//   simulator_probe run SCENARIO RPM LOAD LOAD_NM SECONDS   angles and speeds of all masses every 0.1 ms, CSV
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>

#include "kurbel/simulate/engine_model.hpp"
#include "kurbel/simulate/scenario_file.hpp"

namespace {

using namespace kurbel;
using namespace kurbel::simulate;

void print_list(const char* name, const double* values, int count, const char* end) {
    std::printf("\"%s\": [", name);
    for (int i = 0; i < count; ++i) std::printf("%s%.17g", i > 0 ? ", " : "", values[i]);
    std::printf("]%s\n", end);
}

void modes(const Scenario& scenario) {
    CrankLayout layout = make_crank_layout(scenario);
    TorsionChain& chain = layout.chain;
    const double reciprocating = mean_reciprocating_inertia(scenario.engine);
    for (int c = 0; c < scenario.engine.cylinders; ++c)
        chain.inertia_kg_m2[static_cast<std::size_t>(layout.mass_of_cylinder[static_cast<std::size_t>(c)])] +=
            reciprocating;
    std::array<double, kMaxMasses> hz{};
    for (int i = 0; i < chain.masses; ++i)
        hz[static_cast<std::size_t>(i)] = chain.mode_rad_s(i) / (2.0 * portable::kPi);
    std::printf("{");
    print_list("inertia_kg_m2", chain.inertia_kg_m2.data(), chain.masses, ",");
    print_list("stiffness_nm_rad", chain.stiffness_nm_rad.data(), chain.masses - 1, ",");
    print_list("mode_hz", hz.data(), chain.masses, "}");
}

/// All cylinders with the same charge at this load, scatter aside.
void fill(EngineModel& model, const Scenario& scenario, double load) {
    for (std::size_t c = 0; c < static_cast<std::size_t>(scenario.engine.cylinders); ++c)
        model.charge[c] = nominal_charge(scenario, model.cylinder(), load);
    model.manifold_pa = manifold_pa(scenario.combustion, load);
}

void torque(const Scenario& scenario, double rpm, double load) {
    EngineModel model(scenario);
    fill(model, scenario, load);
    const double speed = rpm * portable::kPi / 30.0;
    const double cycle = model.cylinder().cycle_rad();
    constexpr int kPoints = 1440;
    std::printf("angle_rad");
    for (int c = 1; c <= model.cylinders(); ++c) std::printf(",gas%d,inertia%d", c, c);
    std::printf("\n");
    for (int i = 0; i < kPoints; ++i) {
        const double angle = cycle * i / kPoints;
        std::printf("%.17g", angle);
        for (std::size_t c = 0; c < static_cast<std::size_t>(model.cylinders()); ++c) {
            double x = angle - model.firing_tdc_rad[c];
            if (x >= 0.5 * cycle) x -= cycle;
            if (x < -0.5 * cycle) x += cycle;
            const CylinderTorque t = model.cylinder().torque(x, speed, model.manifold_pa, model.charge[c]);
            std::printf(",%.17g,%.17g", t.gas_nm, -t.inertia_slope_kg_m2 * speed * speed);
        }
        std::printf("\n");
    }
}

void run(const Scenario& scenario, double rpm, double load, double load_nm, double seconds) {
    EngineModel model(scenario);
    fill(model, scenario, load);
    model.load_nm = load_nm;
    model.start(0.1, rpm * portable::kPi / 30.0);
    const int masses = model.layout().chain.masses;
    const double step = 1e-4 / std::ceil(1e-4 / model.longest_step_s(1.2 * rpm * portable::kPi / 30.0));
    const int per_row = static_cast<int>(std::lround(1e-4 / step));
    const int rows = static_cast<int>(std::lround(seconds / 1e-4));
    for (int row = 0; row <= rows; ++row) {
        std::printf("%.17g", row * 1e-4);
        for (int i = 0; i < masses; ++i)
            std::printf(",%.17g,%.17g", model.angle_rad[static_cast<std::size_t>(i)],
                        model.speed_rad_s[static_cast<std::size_t>(i)]);
        std::printf("\n");
        for (int i = 0; i < per_row; ++i) {
            model.step(step);
            for (std::size_t c = 0; c < static_cast<std::size_t>(model.cylinders()); ++c)
                if (model.cylinder_rad(c) >= 0.5 * model.cylinder().cycle_rad())
                    model.firing_tdc_rad[c] += model.cylinder().cycle_rad();
        }
    }
}

}  // namespace

int main(int argc, char** argv) {
    try {
        const std::string what = argc > 2 ? argv[1] : "";
        const auto number = [&](int i) { return std::strtod(argv[i], nullptr); };
        if (what == "modes" && argc == 3) {
            modes(read_scenario(argv[2]));
        } else if (what == "torque" && argc == 5) {
            torque(read_scenario(argv[2]), number(3), number(4));
        } else if (what == "run" && argc == 7) {
            run(read_scenario(argv[2]), number(3), number(4), number(5), number(6));
        } else {
            std::fprintf(stderr, "simulator_probe: see the head of its source\n");
            return 2;
        }
    } catch (const std::exception& error) {
        std::fprintf(stderr, "simulator_probe: %s\n", error.what());
        return 3;
    }
    return 0;
}
