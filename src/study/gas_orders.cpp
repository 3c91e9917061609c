#include "study/gas_orders.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "kurbel/core/slider_crank.hpp"

namespace kurbel {

namespace {

constexpr double kGamma = 1.3;     // polytropic, Heywood 1988, sec. 9.2 (value from memory)
constexpr double kStep_deg = 2.0;  // of crank angle
/// Where half of the heat is released, degrees after TDC: from early to what heats a catalyst; and how long it takes
/// (common practice, no source).
constexpr std::array<double, 6> kCentres_deg{3.0, 10.0, 17.0, 24.0, 31.0, 38.0};
constexpr std::array<double, 6> kFarFetched{1.0, 0.0, 0.0, 0.0, 1.0, 4.0};
constexpr std::array<double, 2> kBurns_deg{50.0, 80.0};
constexpr double kHalfBurnt = 0.5175;  // Wiebe a = 5, m = 2: half burnt at this share of the duration
/// Mean pressure that a full, well timed burn adds per bar of charge: stoichiometric petrol (common practice, no source).
constexpr double kFullBurn = 11.0;
constexpr std::size_t kWellTimed = 1;  // of kCentres_deg, short
/// Pressure of the closed charge, bar: from coasting on a closed throttle to a blown engine (common practice, no source).
constexpr std::array<double, 4> kCharges_bar{0.25, 0.5, 1.0, 2.0};
/// Heat over a full burn: a throttled petrol engine burns 0.7 to 1, an unthrottled one anything below.
constexpr std::array<double, 4> kHeats{0.25, 0.5, 0.75, 1.05};
/// Share of the pressure that leaks and walls take from one radian at TDC, as slow as a starter turns: it lowers expansion
/// against compression and so seems to shift TDC forward by a few degrees (common practice, no source).
constexpr double kLeak = 0.25;
/// Fall of the starter's torque with speed, over inertia times speed, per radian: stall torque over free speed is 2 to 15
/// N m s/rad at the crank, inertia 0.1 to 0.4 kg m^2, speed 15 to 30 rad/s (common practice, no source).
constexpr std::array<double, 5> kDroops{0.0, 0.5, 1.0, 2.0, 4.0};

/// Where the cylinder is closed, degrees after firing TDC (common practice, no source).
constexpr double kClosing_deg = -140.0;
constexpr double kOpening_deg = 130.0;
constexpr double kCycle_deg = 720.0;

/// exp(-j order angle) times twice a step's share of the cycle, for every order.
OrderPhasors pointers(const FiringOrders& orders, double angle_rad) {
    OrderPhasors result{};
    for (int k = 0; k < orders.orders(); ++k)
        result[static_cast<std::size_t>(k)] = std::polar(2.0 * kStep_deg / kCycle_deg, -orders.order(k) * angle_rad);
    return result;
}

void add(OrderPhasors& sum, double torque, const OrderPhasors& pointer) {
    for (std::size_t k = 0; k < sum.size(); ++k) sum[k] += torque * pointer[k];
}

}  // namespace

struct GasOrders::Closed {
    struct Place {
        double end_deg = 0.0;
        double heat_factor = 0.0;  ///< volume to the power of gamma - 1
        double arm = 0.0;          ///< lever over volume to the power of gamma
        OrderPhasors pointer{};
    };
    double begin_deg = 0.0;
    std::vector<Place> places;
};

GasOrders::GasOrders(const EngineConfig& engine, const FiringOrders& orders) : orders_(orders.orders()) {
    const SliderCrank crank = SliderCrank::of(engine);
    const double trapped = std::pow(crank.volume(to_rad(kClosing_deg)), kGamma);
    Closed closed{kClosing_deg, {}};
    double leaked = 0.0;
    for (double deg = -0.5 * kCycle_deg; deg < 0.5 * kCycle_deg; deg += kStep_deg) {
        const double middle = to_rad(deg + 0.5 * kStep_deg);
        const double lever = crank.lever(middle);
        const OrderPhasors pointer = pointers(orders, middle);
        if (deg >= kClosing_deg && deg < kOpening_deg) {
            const double volume = crank.volume(middle);
            const double stiffened = std::pow(volume, kGamma);
            closed.places.push_back({deg + kStep_deg, stiffened / volume, lever / stiffened, pointer});
            add(charge_, trapped * lever / stiffened, pointer);
            leaked += kLeak * to_rad(kStep_deg) / volume;
            add(leak_, std::expm1(-leaked) * trapped * lever / stiffened, pointer);
            add(atmosphere_, -lever, pointer);
        } else if (deg < kClosing_deg) {
            add(charge_, lever, pointer);
            add(atmosphere_, -lever, pointer);
        }  // else the exhaust stroke: at the pressure below the piston
        add(inertia_, -lever * lever, pointer);
    }
    // From torque of one cylinder to energy of all.
    OrderPhasors to_energy{};
    for (int k = 0; k < orders_; ++k) {
        const auto at = static_cast<std::size_t>(k);
        order_[at] = orders.order(k);
        std::complex<double> together = 0.0;
        for (int i = 0; i < engine.cylinders; ++i)
            together += std::polar(1.0, -order_[at] * to_rad(engine.firing_tdc_deg[static_cast<std::size_t>(i)]));
        to_energy[at] = together / std::complex<double>(0.0, order_[at]);
        charge_[at] *= to_energy[at];
        leak_[at] *= to_energy[at];
        atmosphere_[at] *= to_energy[at];
        inertia_[at] *= together;
    }
    add_burns(closed, to_energy);
}

/// Pressure that burning adds, times lever: the first law for a polytropic gas, linear in the heat (Heywood 1988, ch. 9,
/// from memory). The same heat whenever it comes, scaled so that the well timed one does the full work over two radii.
void GasOrders::add_burns(const Closed& closed, const OrderPhasors& to_energy) {
    double well_timed_work = 0.0;
    for (std::size_t b = 0; b < heat_.size(); ++b) {
        const double burn_deg = kBurns_deg[b / kCentres_deg.size()];
        const double start_deg = kCentres_deg[b % kCentres_deg.size()] - kHalfBurnt * burn_deg;
        double burnt = wiebe((closed.begin_deg - start_deg) / burn_deg);
        double heat_term = 0.0;
        double work = 0.0;
        for (const Closed::Place& place : closed.places) {
            const double before = burnt;
            burnt = wiebe((place.end_deg - start_deg) / burn_deg);
            heat_term += place.heat_factor * (burnt - before);
            const double torque = heat_term * place.arm;
            work += torque * to_rad(kStep_deg);
            if (torque > 0.0 || torque < 0.0) add(heat_[b], torque, place.pointer);
        }
        if (b == kWellTimed) well_timed_work = work;
    }
    for (OrderPhasors& heat : heat_)
        for (std::size_t k = 0; k < heat.size(); ++k) heat[k] *= 2.0 * kFullBurn / well_timed_work * to_energy[k];
}

GasOrders::Model GasOrders::mixed(double charge_bar, double heat, int burn, bool leaking) const {
    const auto which = static_cast<std::size_t>(burn);
    Model model;
    if (heat > 0.0) model.far_fetched = kFarFetched[which % kCentres_deg.size()];
    for (std::size_t k = 0; k < model.phasor.size(); ++k)
        model.phasor[k] =
            atmosphere_[k] + charge_bar * (charge_[k] + heat * heat_[which][k] + (leaking ? leak_[k] : 0.0));
    return model;
}

std::vector<GasOrders::Model> GasOrders::gas(bool motored, bool leaking) const {
    std::vector<Model> all;
    for (const double charge : kCharges_bar) {
        all.push_back(mixed(charge, 0.0, 0, leaking));
        for (std::size_t h = 0; h < kHeats.size() && !motored; ++h)
            for (int burn = 0; burn < kBurns; ++burn) all.push_back(mixed(charge, kHeats[h], burn, leaking));
    }
    return thinned(std::move(all));
}

std::vector<GasOrders::Model> GasOrders::models(bool motored, bool starter) const {
    if (!starter) return gas(motored, false);
    std::vector<Model> all = gas(motored, false);
    for (const Model& model : gas(motored, true)) all.push_back(model);
    return with_starter(all);
}

std::vector<GasOrders::Model> GasOrders::with_starter(const std::vector<Model>& gas) const {
    std::vector<Model> all;
    for (const double droop : kDroops)
        for (Model model : gas) {
            for (int k = 0; k < orders_; ++k) {
                const std::complex<double> free(0.0, order_[static_cast<std::size_t>(k)]);
                model.phasor[static_cast<std::size_t>(k)] *= free / (free + droop);
            }
            all.push_back(model);
        }
    return thinned(std::move(all));
}

std::vector<GasOrders::Model> GasOrders::thinned(std::vector<Model> all) const {
    std::stable_sort(all.begin(), all.end(),
                     [](const Model& a, const Model& b) { return a.far_fetched < b.far_fetched; });
    std::vector<Model> kept;
    for (Model& model : all) {
        double largest = 0.0;
        for (const auto& phasor : model.phasor) largest = std::max(largest, std::norm(phasor));
        for (auto& phasor : model.phasor) phasor /= std::sqrt(largest);
        const bool known = std::any_of(kept.begin(), kept.end(), [&](const Model& other) {
            for (std::size_t k = 0; k < model.phasor.size(); ++k)
                if (std::norm(model.phasor[k] - other.phasor[k]) > kSame * kSame) return false;
            return true;
        });
        if (!known) kept.push_back(model);
    }
    return kept;
}

}  // namespace kurbel
