// What the cylinders breathe and burn, and what rubs. Defaults are engineering ranges for a car's petrol engine (values from
// memory, no single source) unless a source stands beside them.
#pragma once

#include <vector>

#include "kurbel/simulate/profile.hpp"

namespace kurbel::simulate {

/// What the cylinders breathe and burn.
struct CombustionSettings {
    double ambient_bar = 1.013;
    double charge_k = 330.0;  ///< temperature of the charge at the start of compression
    double heat_j_per_kg_air =
        2.925e6;               ///< stoichiometric petrol: 43 MJ/kg over 14.7 (Heywood 1988, app. D; from memory)
    double heat_share = 0.76;  ///< of it that is burnt and not lost to the walls
    double compression_exponent = 1.32;   ///< polytropic, 1.3 +- 0.05 (Heywood 1988, sec. 9.2; value from memory)
    double expansion_exponent = 1.32;     ///< polytropic, after TDC
    double ca50_deg = 9.0;                ///< half of the heat released, degrees after TDC
    double burn_deg = 55.0;               ///< 0 to 99.3 % of the heat at high load
    double burn_low_load_deg = 75.0;      ///< the same at load 0.25
    double scatter = 0.03;                ///< COV of gross indicated work at load 0.6 and above
    double scatter_low_load = 0.08;       ///< the same at load 0.25 and below
    double scatter_skewness = -0.6;       ///< of one cylinder's work; negative: slow burns
    double ca50_scatter_deg = 1.5;        ///< cycle to cycle, standard deviation
    double residual_share = 0.07;         ///< residual gas at equal intake and exhaust pressure
    bool throttled = true;                ///< false: the charge is always full and `load` sets the fuel alone (diesel)
    double spread = 0.02;                 ///< between cylinders, standard deviation of the heat, drawn by seed
    std::vector<double> cylinder_factor;  ///< heat of each cylinder relative to the nominal one; replaces `spread`
    std::vector<double> leak_mm2;         ///< effective leak area of each cylinder past rings and valves

    // All below is off, or neutral, by default.
    Profile retard_deg;                   ///< later than ca50_deg by this, over time (catalyst heating: 20 to 50)
    double burn_growth_per_deg = 0.0;     ///< share by which each degree of retard lengthens the burn (0.005 to 0.01)
    double egr = 0.0;                     ///< share of the intake that is exhaust led back on purpose
    double scatter_per_retard_deg = 0.0;  ///< COV added by each degree of retard (0.002 to 0.006)
    double scatter_per_dilution = 0.0;    ///< COV added per share of burnt gas beyond `residual_share`'s (0.3 to 0.8)
    double slow_share = 0.0;              ///< share of burns that are slow, at load 0.6 and above
    double slow_share_low_load = 0.0;     ///< the same at load 0.25 and below
    double slow_factor = 2.2;             ///< how much longer a slow burn takes, median
    double slow_spread = 0.25;            ///< standard deviation of its logarithm
    double carry_over = 0.0;              ///< share of unburnt mixture in the residual gas that burns in the next cycle
    double premixed_share = 0.0;          ///< of the heat; above 0 a diesel's burn: two Wiebe parts with one start
    double premixed_deg = 12.0;           ///< whole burn of the premixed part; `burn_deg` is the diffusion part's
    double charge_spread = 0.0;           ///< between cylinders, standard deviation of the trapped charge, by seed
    std::vector<double> charge_factor;    ///< trapped pressure of each cylinder relative to the manifold's
    double film_share = 0.0;              ///< share of the fuel that goes to the intake's wall film, uncompensated
    double film_s = 0.5;                  ///< time constant of its evaporation
};

/// Valves and flow, the same for all cylinders.
struct GasExchangeSettings {
    double intake_closing_deg = -140.0;  ///< from firing TDC; two-stroke: port closing, -100 say
    double exhaust_opening_deg = 125.0;  ///< from firing TDC; two-stroke: 100 say
    double overlap_deg = 40.0;           ///< whole width of the change from exhaust to intake pressure
    double exhaust_bar = 0.02;           ///< above ambient, at rest
    double flow_pa_per_m2_s2 = 50.0;     ///< pressure loss past the valves over piston speed squared

    double exhaust_bar_s2_per_kg2 =
        0.0;  ///< back pressure over the square of the engine's air flow (10 to 60 on a 2 l)
    /// Above 0: residual gas by Fox, Cheng and Heywood, SAE 931025 (1993; equation from memory), with this overlap factor
    /// (0.3 to 2 degrees/m), in place of `residual_share`.
    double overlap_factor_deg_m = 0.0;
};

/// Time in which valves stay closed and no fuel is given: the cylinder is a gas spring.
struct Deactivation {
    std::vector<int> cylinders;
    double from_s = -1e9;
    double to_s = 1e9;
    double bottom_bar = 0.5;  ///< absolute pressure that the enclosed gas settles to at the bottom
};

/// Friction mean effective pressure a + b N + c N^2, bar, N in 1000 rpm. With the gas exchange computed apart, the sum comes
/// near Heywood 1988, ch. 13: 0.97 + 0.15 N + 0.05 N^2 with pumping (value from memory).
struct FrictionSettings {
    double constant_bar = 0.75;
    double linear_bar = 0.15;
    double square_bar = 0.03;
    double accessories_nm = 2.0;
    /// Above 0: friction times (oil's viscosity over that at 90 C) to this power, by the coolant's temperature (0.2 to 0.3;
    /// viscosity of a multigrade oil, 65 mm2/s at 40 C and 10.5 at 100 C, by Vogel's law; values from memory).
    double cold_exponent = 0.0;
};

}  // namespace kurbel::simulate
