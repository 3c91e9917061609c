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
};

/// Valves and flow, the same for all cylinders.
struct GasExchangeSettings {
    double intake_closing_deg = -140.0;  ///< from firing TDC; two-stroke: port closing, -100 say
    double exhaust_opening_deg = 125.0;  ///< from firing TDC; two-stroke: 100 say
    double overlap_deg = 40.0;           ///< whole width of the change from exhaust to intake pressure
    double exhaust_bar = 0.02;           ///< above ambient, at rest
    double flow_pa_per_m2_s2 = 50.0;     ///< pressure loss past the valves over piston speed squared
};

/// Friction mean effective pressure a + b N + c N^2, bar, N in 1000 rpm. With the gas exchange computed apart, the sum comes
/// near Heywood 1988, ch. 13: 0.97 + 0.15 N + 0.05 N^2 with pumping (value from memory).
struct FrictionSettings {
    double constant_bar = 0.75;
    double linear_bar = 0.15;
    double square_bar = 0.03;
    double accessories_nm = 2.0;
};

}  // namespace kurbel::simulate
