// Shows intake, burn and mean torque to the scripts beside it, which compute the same by other means.
//   charge_probe orifice                                  ratio of pressures and flow function, CSV
//   charge_probe fill SCENARIO RPM LOAD NEW_LOAD SECONDS  plenum pressure every ms after a throttle step, CSV; the first
//                                                         line holds the throttle's areas before and after, mm2
//   charge_probe burn SCENARIO LOAD START_DEG BURN_DEG PREMIXED PREMIXED_DEG
//                                                         pressure over the closed phase of a charge with that burn, CSV;
//                                                         the first line holds the share burnt and the charge's heat, J
//   charge_probe map SCENARIO                             mean effective pressures over speed and load, CSV
#include <cstdio>
#include <cstdlib>
#include <string>

#include "kurbel/simulate/air_path.hpp"
#include "kurbel/simulate/mean_torque.hpp"
#include "kurbel/simulate/scenario_file.hpp"

namespace {

using namespace kurbel::simulate;

constexpr double kDeg = portable::kPi / 180.0;
constexpr double kRpm = portable::kPi / 30.0;

void orifice() {
    for (int i = 1; i <= 1000; ++i) std::printf("%.17g,%.17g\n", i / 1000.0, orifice_flow(i / 1000.0));
}

void fill(const Scenario& s, double rpm, double load, double new_load, double seconds) {
    const CylinderModel cylinder(s.engine, s.combustion, s.gas_exchange);
    AirPath air(s, cylinder);
    AirPath::Demand demand;
    demand.load = load;
    demand.reference_rad_s = demand.speed_rad_s = rpm * kRpm;
    demand.open_cylinders = s.engine.cylinders;
    air.settle(demand);
    const double before = air.throttle_mm2();
    const double pa = air.manifold_pa();
    demand.load = new_load;
    AirPath after(s, cylinder);
    after.settle(demand);
    std::printf("%.17g,%.17g\n%.17g,%.17g\n", before, after.throttle_mm2(), 0.0, pa);
    for (int i = 1; i <= static_cast<int>(seconds * 1000.0); ++i) {
        air.update(demand, 1e-3);
        std::printf("%.17g,%.17g\n", i * 1e-3, air.manifold_pa());
    }
}

void burn(const Scenario& s, double load, const BurnShape& shape) {
    const CylinderModel cylinder(s.engine, s.combustion, s.gas_exchange);
    Charge charge = nominal_charge(s, cylinder, load);
    const double share = cylinder.prepare_burn(shape, charge.burn);
    std::printf("%.17g,%.17g\n", share, charge.heat_j);
    for (double deg = -135.0; deg <= s.gas_exchange.exhaust_opening_deg; deg += 1.0)
        std::printf("%.17g,%.17g\n", deg, cylinder.pressure_pa(deg * kDeg, 100.0, charge.trapped_pa, charge));
}

/// rpm, load, indicated net, gross, pumping (negative) and friction mean effective pressure, bar, and fuel per cycle, J.
void map(const Scenario& s) {
    const CylinderModel cylinder(s.engine, s.combustion, s.gas_exchange);
    const Friction friction(s);
    const double displacement = cylinder.geometry().displacement_m3();
    for (const double rpm : {800.0, 1000.0, 2000.0, 3000.0, 4500.0, 6000.0}) {
        for (const double load : {0.15, 0.2, 0.25, 0.35, 0.5, 0.7, 1.0}) {
            const double speed = rpm * kRpm;
            const Charge charge = nominal_charge(s, cylinder, load);
            const double net = cylinder.cycle_work_j(speed, charge.trapped_pa, charge);
            double gross = 0.0;
            constexpr int kSteps = 7200;
            for (int i = 0; i < kSteps; ++i) {
                const double x = -portable::kPi + (i + 0.5) * 2.0 * portable::kPi / kSteps;
                gross += cylinder.torque(x, speed, charge.trapped_pa, charge).gas_nm * 2.0 * portable::kPi / kSteps;
            }
            const double bar = 1e-5 / displacement;
            const double lost = friction.torque_nm(speed) * cylinder.cycle_rad() / s.engine.cylinders;
            std::printf("%.17g,%.17g,%.17g,%.17g,%.17g,%.17g,%.17g\n", rpm, load, net * bar, gross * bar,
                        (net - gross) * bar, lost * bar, charge.heat_j / s.combustion.heat_share);
        }
    }
}

}  // namespace

int main(int argc, char** argv) {
    try {
        const std::string what = argc > 1 ? argv[1] : "";
        const auto number = [&](int i) { return std::strtod(argv[i], nullptr); };
        if (what == "orifice" && argc == 2) {
            orifice();
        } else if (what == "fill" && argc == 7) {
            fill(read_scenario(argv[2]), number(3), number(4), number(5), number(6));
        } else if (what == "burn" && argc == 8) {
            burn(read_scenario(argv[2]), number(3),
                 BurnShape{number(4) * kDeg, number(5) * kDeg, number(6), number(7) * kDeg});
        } else if (what == "map" && argc == 3) {
            map(read_scenario(argv[2]));
        } else {
            std::fprintf(stderr, "charge_probe: see the head of its source\n");
            return 2;
        }
    } catch (const std::exception& error) {
        std::fprintf(stderr, "charge_probe: %s\n", error.what());
        return 3;
    }
    return 0;
}
