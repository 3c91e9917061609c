#include "kurbel/study/tdc_offset.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "kurbel/core/slider_crank.hpp"
#include "study/gas_orders.hpp"
#include "study/operating_points.hpp"
#include "study/shortest_arc.hpp"

namespace kurbel {

namespace {

/// Explanations within this many squared standard errors of the best are plausible: three of one quantity.
constexpr double kPlausible = 9.0;
/// The best explanation must itself be one, else the engine is not understood.
constexpr double kUnderstood = 9.0;
constexpr double kStep_deg = 2.5;
/// A range wider than this share of what can be told apart says nothing.
constexpr double kWidest = 0.8;

/// The smallest turn that maps the firing TDCs, of known or (`either_half`) unknown revolution, on themselves.
double period_deg(const EngineConfig& engine, bool either_half) {
    const auto same = [&](double turn_deg) {
        for (int i = 0; i < engine.cylinders; ++i) {
            double nearest = engine.cycle_deg();
            for (int j = 0; j < engine.cylinders; ++j) {
                const double off = engine.firing_tdc_deg[static_cast<std::size_t>(i)] + turn_deg -
                                   engine.firing_tdc_deg[static_cast<std::size_t>(j)];
                nearest = std::min(nearest, std::abs(std::remainder(off, engine.cycle_deg())));
            }
            if (nearest > 0.5) return false;
        }
        return true;
    };
    double period = engine.cycle_deg();
    for (int parts = 2; parts <= engine.cylinders; ++parts)
        if (same(engine.cycle_deg() / parts)) period = engine.cycle_deg() / parts;
    // A turn by one revolution may then be added, of which twice is nothing new.
    if (either_half && std::abs(std::remainder(360.0, period)) > 0.5) period *= 0.5;
    return period;
}

/// Piston mass times squared crank radius over inertia: as described, else from light pistons to light flywheels.
std::vector<double> inertia_ratios(const EngineConfig& engine, const GasOrders& gas) {
    double largest = 0.0;
    for (const auto& phasor : gas.inertia()) largest = std::max(largest, std::abs(phasor));
    if (largest < 0.05) return {0.0};  // the pistons balance at these orders
    const double one = 0.25e-6 * engine.reciprocating_kg * engine.stroke_mm * engine.stroke_mm;
    const double known = one / (engine.inertia_kg_m2 + 0.5 * engine.cylinders * one);
    // In gear what turns along adds inertia, and torsion may take from what a sensor at the front sees.
    if (known > 0.0) return {0.55 * known, 0.7 * known, 0.85 * known, known, 1.1 * known};
    // All cylinders of an engine together up to 4 % (common practice, no source).
    std::vector<double> ratios;
    for (int i = 0; i <= 6; ++i) ratios.push_back(i * 0.04 / 6.0 / engine.cylinders);
    return ratios;
}

/// A point and all that could explain it, with weights multiplied in.
struct Case {
    OperatingPoint point{};
    std::vector<GasOrders::Model> models;  ///< times weight over the root of the weighted square

    Case(const OperatingPoint& seen, const std::vector<GasOrders::Model>& gas) : point(seen), models(gas) {
        for (GasOrders::Model& model : models) {
            double size = 0.0;
            for (std::size_t k = 0; k < model.phasor.size(); ++k) size += point.weight[k] * std::norm(model.phasor[k]);
            for (std::size_t k = 0; k < model.phasor.size(); ++k)
                model.phasor[k] *= size > 0.0 ? point.weight[k] / std::sqrt(size) : 0.0;
        }
    }

    /// Squared standard errors left where the best model, of any positive size, is taken from `rest`.
    [[nodiscard]] double misfit(const OrderPhasors& rest) const {
        double square = 0.0;
        for (std::size_t k = 0; k < rest.size(); ++k) square += point.weight[k] * std::norm(rest[k]);
        double gained = 0.0;
        for (const GasOrders::Model& model : models) {
            double product = 0.0;
            for (std::size_t k = 0; k < rest.size(); ++k)
                product += model.phasor[k].real() * rest[k].real() + model.phasor[k].imag() * rest[k].imag();
            if (product > 0.0) gained = std::max(gained, product * product - model.far_fetched);
        }
        return square - gained;
    }
};

class Search {
  public:
    Search(const Config& config, const FiringOrders& seen, const std::vector<OperatingPoint>& points)
        : seen_(seen), gas_(config.engine, seen), ratios_(inertia_ratios(config.engine, gas_)) {
        // A handful of points share at most four kinds of models.
        std::array<std::vector<GasOrders::Model>, 4> kinds;
        for (const OperatingPoint& point : points) {
            auto& models = kinds[(point.motored ? 1U : 0U) + (point.starter ? 2U : 0U)];
            if (models.empty()) models = gas_.models(point.motored, point.starter);
            cases_.emplace_back(point, models);
        }
    }

    /// Least misfit with TDC `offset_rad` after the declared one, in whichever revolution that is possible.
    [[nodiscard]] double misfit_at(double offset_rad) const {
        const double here = misfit_in_half(offset_rad);
        return seen_.sign_unknown() ? std::min(here, misfit_in_half(offset_rad + 2.0 * std::numbers::pi)) : here;
    }

  private:
    /// Errors of the model and of the wheel are the same at all points and do not average out: so every point has a veto,
    /// rather than a share in a sum. One inertia must serve all.
    [[nodiscard]] double misfit_in_half(double offset_rad) const {
        OrderPhasors turn{};
        for (int k = 0; k < seen_.orders(); ++k)
            turn[static_cast<std::size_t>(k)] = std::polar(1.0, seen_.order(k) * offset_rad);
        double best = std::numeric_limits<double>::infinity();
        for (const double ratio : ratios_) {
            double worst = 0.0;
            for (const Case& each : cases_) {
                OrderPhasors rest{};
                for (std::size_t k = 0; k < rest.size(); ++k)
                    rest[k] = each.point.phasor[k] * turn[k] - each.point.energy * ratio * gas_.inertia()[k];
                worst = std::max(worst, each.misfit(rest));
                if (worst >= best) break;
            }
            best = std::min(best, worst);
        }
        return best;
    }

    const FiringOrders& seen_;
    GasOrders gas_;
    std::vector<double> ratios_;
    std::vector<Case> cases_;
};

}  // namespace

TdcOffset estimate_tdc_offset(const Config& config, const FiringOrders& seen) {
    TdcOffset result;
    result.period_deg = period_deg(config.engine, seen.sign_unknown());
    if (config.engine.strokes != 4) return result;
    const std::vector<OperatingPoint> points = operating_points(config, seen);
    if (points.empty()) return result;
    const Search search(config, seen, points);
    const int places = static_cast<int>(std::lround(result.period_deg / kStep_deg));
    const double step_deg = result.period_deg / places;
    std::vector<double> misfits;
    for (int i = 0; i < places; ++i) misfits.push_back(search.misfit_at(to_rad(i * step_deg)));
    result.misfit = *std::min_element(misfits.begin(), misfits.end());
    if (!(result.misfit <= kUnderstood)) return result;
    std::vector<bool> plausible;
    for (const double value : misfits) plausible.push_back(value <= result.misfit + kPlausible);
    const auto [begin, length] = shortest_arc(plausible);
    const double width_deg = static_cast<double>(length) * step_deg;
    if (width_deg > kWidest * result.period_deg) return result;
    const double middle_deg = (static_cast<double>(begin) - 0.5) * step_deg + 0.5 * width_deg;
    result.offset_deg = middle_deg - result.period_deg * std::round(middle_deg / result.period_deg);
    result.low_deg = result.offset_deg - 0.5 * width_deg;
    result.high_deg = result.offset_deg + 0.5 * width_deg;
    return result;
}

}  // namespace kurbel
