// The tables of a scenario file that tell how the engine breathes, burns and rubs.
#include "simulate/scenario_parts.hpp"
#include "simulate/table_reader.hpp"

namespace kurbel::simulate {

void read_combustion(const read::TomlFile& file, Scenario& s) {
    const int cylinders = s.engine.cylinders;
    with_table(file, "combustion", [&](TableReader& r) {
        CombustionSettings& c = s.combustion;
        r.number("ambient_bar", c.ambient_bar, 0.3, 1.2);
        r.number("charge_k", c.charge_k, 200.0, 500.0);
        r.number("heat_j_per_kg_air", c.heat_j_per_kg_air, 1e5, 5e6);
        r.number("heat_share", c.heat_share, 0.1, 1.0);
        r.number("compression_exponent", c.compression_exponent, 1.1, 1.45);
        r.number("expansion_exponent", c.expansion_exponent, 1.1, 1.45);
        r.number("ca50_deg", c.ca50_deg, -20.0, 70.0);
        r.number("burn_deg", c.burn_deg, 10.0, 120.0);
        r.number("burn_low_load_deg", c.burn_low_load_deg, 10.0, 120.0);
        r.number("scatter", c.scatter, 0.0, 0.6);
        r.number("scatter_low_load", c.scatter_low_load, 0.0, 0.6);
        r.number("scatter_skewness", c.scatter_skewness, -3.0, 0.0);
        r.number("ca50_scatter_deg", c.ca50_scatter_deg, 0.0, 15.0);
        r.number("residual_share", c.residual_share, 0.0, 0.5);
        r.boolean("throttled", c.throttled);
        r.number("spread", c.spread, 0.0, 0.5);
        r.numbers("cylinder_factor", c.cylinder_factor, 0.0, 3.0, cylinders);
        r.numbers("leak_mm2", c.leak_mm2, 0.0, 20.0, cylinders);
        r.profile("retard_deg", c.retard_deg, -20.0, 70.0);
        r.number("burn_growth_per_deg", c.burn_growth_per_deg, 0.0, 0.05);
        r.number("egr", c.egr, 0.0, 0.6);
        r.number("scatter_per_retard_deg", c.scatter_per_retard_deg, 0.0, 0.05);
        r.number("scatter_per_dilution", c.scatter_per_dilution, 0.0, 5.0);
        r.number("slow_share", c.slow_share, 0.0, 1.0);
        r.number("slow_share_low_load", c.slow_share_low_load, 0.0, 1.0);
        r.number("slow_factor", c.slow_factor, 1.0, 10.0);
        r.number("slow_spread", c.slow_spread, 0.0, 1.0);
        r.number("carry_over", c.carry_over, 0.0, 1.0);
        r.number("premixed_share", c.premixed_share, 0.0, 0.9);
        r.number("premixed_deg", c.premixed_deg, 3.0, 60.0);
        r.number("charge_spread", c.charge_spread, 0.0, 0.5);
        r.numbers("charge_factor", c.charge_factor, 0.1, 3.0, cylinders);
        r.number("film_share", c.film_share, 0.0, 0.9);
        r.number("film_s", c.film_s, 0.01, 10.0);
    });
    with_table(file, "gas_exchange", [&](TableReader& r) {
        GasExchangeSettings& g = s.gas_exchange;
        if (s.engine.strokes == 2) {
            g.intake_closing_deg = -100.0;
            g.exhaust_opening_deg = 100.0;
        }
        r.number("intake_closing_deg", g.intake_closing_deg, -170.0, -60.0);
        r.number("exhaust_opening_deg", g.exhaust_opening_deg, 80.0, 170.0);
        r.number("overlap_deg", g.overlap_deg, 2.0, 120.0);
        r.number("exhaust_bar", g.exhaust_bar, 0.0, 1.0);
        r.number("flow_pa_per_m2_s2", g.flow_pa_per_m2_s2, 0.0, 1000.0);
        r.number("exhaust_bar_s2_per_kg2", g.exhaust_bar_s2_per_kg2, 0.0, 1e5);
        r.number("overlap_factor_deg_m", g.overlap_factor_deg_m, 0.0, 10.0);
    });
    with_table(file, "friction", [&](TableReader& r) {
        FrictionSettings& f = s.friction;
        r.number("constant_bar", f.constant_bar, 0.0, 10.0);
        r.number("linear_bar", f.linear_bar, 0.0, 10.0);
        r.number("square_bar", f.square_bar, 0.0, 10.0);
        r.number("accessories_nm", f.accessories_nm, 0.0, 1000.0);
        r.number("cold_exponent", f.cold_exponent, 0.0, 0.5);
    });
    with_each(file, "deactivation", [&](TableReader& r) {
        Deactivation d;
        if (!r.has("cylinders")) r.fail("cylinders", "is missing");
        r.cylinders("cylinders", d.cylinders, cylinders);
        r.number("from_s", d.from_s, -kForever, kForever);
        r.number("to_s", d.to_s, -kForever, kForever);
        r.number("bottom_bar", d.bottom_bar, 0.02, 2.0);
        s.deactivations.push_back(d);
    });
    with_table(file, "manifold", [&](TableReader& r) {
        ManifoldSettings& m = s.manifold;
        r.number("volume_l", m.volume_l, 0.0, 1000.0);
        r.number("throttle_mm2", m.throttle_mm2, 1.0, 1e6);
        r.number("gas_k", m.gas_k, 200.0, 500.0);
        r.number("actuator_s", m.actuator_s, 0.0, 2.0);
        r.profile("throttle", m.throttle, 0.0, 1.0);
        r.profile("boost_bar", m.boost_bar, -0.5, 5.0);
        if (m.volume_l == 0.0 && r.has("throttle")) r.fail("throttle", "needs manifold.volume_l");
    });
}

}  // namespace kurbel::simulate
