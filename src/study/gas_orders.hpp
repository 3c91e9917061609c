// What the gas of all cylinders does to the crank's energy at chosen orders, over all plausible charges and burns.
#pragma once

#include <array>
#include <complex>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/study/firing_orders.hpp"

namespace kurbel {

/// Phasors, one an order; see FiringOrders for their sense.
using OrderPhasors = std::array<std::complex<double>, FiringOrders::kMostOrders>;

/// One four-stroke engine whose TDCs are the declared ones. Energies in units of 1 bar x piston area x crank radius / inertia.
class GasOrders {
  public:
    /// What may explain an operating point, of any size, and how far-fetched that is, in squared standard errors.
    struct Model {
        OrderPhasors phasor{};
        double far_fetched = 0.0;
    };

    GasOrders(const EngineConfig& engine, const FiringOrders& orders);

    /// What gas may do: where `motored` nothing burns, else anything up to a full burn, timed early to very late; at any
    /// charge. Where a `starter` turns the engine, its torque falls as the speed rises, and slow gas leaks and cools.
    /// Models that differ by less than kSame are named once.
    [[nodiscard]] std::vector<Model> models(bool motored, bool starter) const;
    /// Reciprocating masses at unit mean energy, where crank radius squared times one piston's mass is the whole inertia.
    [[nodiscard]] const OrderPhasors& inertia() const noexcept { return inertia_; }

  private:
    static constexpr int kBurns = 12;
    static constexpr double kSame = 0.04;  ///< of the largest phasor

    struct Closed;  // what the closed part of the cycle is made of, by crank angle
    void add_burns(const Closed& closed, const OrderPhasors& to_energy);
    [[nodiscard]] Model mixed(double charge_bar, double heat, int burn, bool leaking) const;
    [[nodiscard]] std::vector<Model> gas(bool motored, bool leaking) const;
    [[nodiscard]] std::vector<Model> with_starter(const std::vector<Model>& gas) const;
    [[nodiscard]] std::vector<Model> thinned(std::vector<Model> all) const;

    int orders_ = 0;
    std::array<double, FiringOrders::kMostOrders> order_{};
    OrderPhasors charge_{};      // of 1 bar in the cylinder as it closes
    OrderPhasors leak_{};        // what is gone from it through leaks and walls while a starter turns
    OrderPhasors atmosphere_{};  // of 1 bar below the pistons and in the exhaust
    OrderPhasors inertia_{};
    std::array<OrderPhasors, kBurns> heat_{};  // of a full burn of a charge of 1 bar
};

}  // namespace kurbel
