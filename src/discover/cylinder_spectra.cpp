#include "discover/cylinder_spectra.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/core/slider_crank.hpp"

namespace kurbel::discover {

namespace {

// The figures below are those of study/gas_orders.cpp, which says where they come from; the exhaust valve, which opens at once there, takes its
// time here (usual timings, from memory).
constexpr double kGamma = 1.3;
constexpr double kStep_deg = 2.0;
constexpr std::array<double, 5> kCentres_deg{3.0, 10.0, 17.0, 24.0, 31.0};
constexpr std::array<double, 5> kFarFetched{1.0, 0.0, 0.0, 0.0, 1.0};
constexpr std::array<double, 2> kBurns_deg{50.0, 80.0};
constexpr double kHalfBurnt = 0.5175;
constexpr double kFullBurn = 11.0;
constexpr std::array<double, 4> kCharges_bar{0.25, 0.5, 1.0, 2.0};
/// Without fuel the throttle is shut: down to what a running engine leaves of the air (from memory).
constexpr std::array<double, 7> kMotoredCharges_bar{0.13, 0.18, 0.25, 0.35, 0.5, 1.0, 2.0};
constexpr std::array<double, 4> kHeats{0.25, 0.5, 0.75, 1.05};
/// Intake pressure that fuel comes with, over the heat that it sets free: none in a diesel, at most all of what burns (Heat 1 at 1 bar).
constexpr std::array<double, 4> kMoreAir{0.0, 0.25, 0.5, 1.0};
constexpr double kClosing_deg = -140.0;
constexpr double kOpening_deg = 125.0;
constexpr double kEmpty_deg = 170.0;
/// Where compression and gas exchange nearly cancel each other, what is left depends on how this engine is built: other compression ratios and
/// valve timings than the typical ones (usual ranges, from memory).
struct Build {
    double compression_ratio;
    double closing_deg;
    double opening_deg;  ///< the exhaust valve lifts
    double empty_deg;    ///< pressures have become equal
};
constexpr std::array<Build, 5> kBuilds{{{10.0, kClosing_deg, kOpening_deg, kEmpty_deg},
                                        {8.5, -125.0, 115.0, 150.0},
                                        {12.0, -125.0, 140.0, 180.0},
                                        {8.5, -150.0, 140.0, 180.0},
                                        {12.0, -150.0, 110.0, 150.0}}};
/// Above this intake pressure compression stands alone, whatever the timing.
constexpr double kCancels_bar = 0.4;
constexpr double kSame = 0.05;  ///< shapes that differ by less, of the largest wave, are one

void add(Waves& waves, double torque, double angle_rad) {
    for (std::size_t h = 0; h < waves.size(); ++h)
        // The torque may be negative, which std::polar takes for no radius.
        waves[h] += 2.0 * kStep_deg / 720.0 * torque * std::polar(1.0, -0.5 * static_cast<double>(h + 1) * angle_rad);
}

/// From torque to energy: its integral over the angle.
void integrate(Waves& waves) {
    for (std::size_t h = 0; h < waves.size(); ++h)
        waves[h] /= std::complex<double>(0.0, 0.5 * static_cast<double>(h + 1));
}

/// Share of a difference in pressure that is gone through the exhaust valve: a valve opens no faster than its cam, and what it lets through
/// takes its time.
double gone(double deg, double opening_deg, double empty_deg) {
    const double share = std::clamp((deg - opening_deg) / (empty_deg - opening_deg), 0.0, 1.0);
    return share * share * (3.0 - 2.0 * share);
}

/// Pressure that burning adds, times lever; the first law for a polytropic gas.
Waves burn(const SliderCrank& crank, double centre_deg, double burn_deg, int count) {
    Waves waves(static_cast<std::size_t>(count));
    const double start_deg = centre_deg - kHalfBurnt * burn_deg;
    double burnt = wiebe((kClosing_deg - start_deg) / burn_deg);
    double heat = 0.0;
    double work = 0.0;
    for (double deg = kClosing_deg; deg < kEmpty_deg; deg += kStep_deg) {
        const double middle_deg = deg + 0.5 * kStep_deg;
        const double middle = to_rad(middle_deg);
        const double volume = crank.volume(middle);
        const double before = burnt;
        burnt = wiebe((deg + kStep_deg - start_deg) / burn_deg);
        heat += std::pow(volume, kGamma - 1.0) * (burnt - before);
        const double kept = 1.0 - gone(middle_deg, kOpening_deg, kEmpty_deg);
        const double torque = kept * heat * crank.lever(middle) / std::pow(volume, kGamma);
        work += torque * to_rad(kStep_deg);
        add(waves, torque, middle);
    }
    integrate(waves);
    for (auto& wave : waves) wave *= 2.0 * kFullBurn / work;
    return waves;
}

/// Without a burn: compression and expansion of what was trapped, the rest of the cycle at intake pressure, ambient pressure below the piston.
class GasExchange {
  public:
    GasExchange(const Build& build, int count)
        : charge_(static_cast<std::size_t>(count)), atmosphere_(static_cast<std::size_t>(count)) {
        SliderCrank crank;
        crank.compression_ratio = build.compression_ratio;
        const double trapped = std::pow(crank.volume(to_rad(build.closing_deg)), kGamma);
        // In the end, the exhaust stroke at the pressure below the piston.
        for (double deg = -360.0; deg < build.empty_deg; deg += kStep_deg) {
            const double middle_deg = deg + 0.5 * kStep_deg;
            const double middle = to_rad(middle_deg);
            const double lever = crank.lever(middle) * (1.0 - gone(middle_deg, build.opening_deg, build.empty_deg));
            const bool closed = deg >= build.closing_deg;
            add(charge_, closed ? trapped * lever / std::pow(crank.volume(middle), kGamma) : lever, middle);
            add(atmosphere_, -lever, middle);
        }
        integrate(charge_);
        integrate(atmosphere_);
    }
    [[nodiscard]] Waves at(double bar) const {
        Waves waves = atmosphere_;
        for (std::size_t h = 0; h < waves.size(); ++h) waves[h] += bar * charge_[h];
        return waves;
    }

  private:
    Waves charge_;
    Waves atmosphere_;
};

void keep(std::vector<GasShape>& shapes, GasShape shape) {
    double largest = 0.0;
    for (const auto& wave : shape.wave) largest = std::max(largest, std::abs(wave));
    for (auto& wave : shape.wave) wave /= largest;
    shape.scale = largest;
    const bool known = std::any_of(shapes.begin(), shapes.end(), [&](const GasShape& other) {
        for (std::size_t h = 0; h < shape.wave.size(); ++h)
            if (std::abs(shape.wave[h] - other.wave[h]) > kSame) return false;
        return true;
    });
    if (!known) shapes.push_back(std::move(shape));
}

}  // namespace

CylinderSpectra::CylinderSpectra(int count) : inertia_(static_cast<std::size_t>(count)) {
    const SliderCrank crank;
    for (double deg = -360.0; deg < 360.0; deg += kStep_deg) {
        const double middle = to_rad(deg + 0.5 * kStep_deg);
        const double lever = crank.lever(middle);
        add(inertia_, -lever * lever, middle);
    }
    const GasExchange typical(kBuilds.front(), count);
    const auto mixed = [&](double bar, double heat, const Waves* burnt) {
        Waves waves = typical.at(bar);
        for (std::size_t h = 0; h < waves.size() && burnt != nullptr; ++h) waves[h] += bar * heat * (*burnt)[h];
        return waves;
    };
    const auto with_air = [&](Waves waves, double air) {
        const Waves none = typical.at(0.0);
        const Waves one = typical.at(1.0);
        for (std::size_t h = 0; h < waves.size(); ++h) waves[h] += air * (one[h] - none[h]);
        return waves;
    };
    for (const Build& build : kBuilds) {
        const GasExchange exchange(build, count);
        const bool usual = &build == &kBuilds.front();
        for (const double bar : kMotoredCharges_bar)
            if (usual || bar < kCancels_bar) keep(motored_, {exchange.at(bar), 0.0, 1.0});
    }
    for (const double bar : kCharges_bar) keep(fired_, {mixed(bar, 0.0, nullptr), 0.0, 1.0});
    for (std::size_t c = 0; c < kCentres_deg.size(); ++c)
        for (const double burn_deg : kBurns_deg) {
            const Waves burnt = burn(crank, kCentres_deg[c], burn_deg, count);
            for (const double bar : kCharges_bar)
                for (const double heat : kHeats) keep(fired_, {mixed(bar, heat, &burnt), kFarFetched[c], 1.0});
            for (const double air : kMoreAir) keep(burns_, {with_air(burnt, air), kFarFetched[c], 1.0});
        }
}

}  // namespace kurbel::discover
