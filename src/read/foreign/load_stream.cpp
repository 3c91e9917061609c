// Load from what was measured, by the formulas of kurbel/channel/load.hpp; speed comes from the crank edges that stand before.
#include <cmath>
#include <vector>

#include "kurbel/channel/load.hpp"
#include "kurbel/read/input_error.hpp"
#include "read/foreign/stream.hpp"

namespace kurbel::read {

namespace {

/// Speed over the last revolution of the wheel; a wheel that stopped has none.
class Speed {
  public:
    Speed(int teeth, double hz) : ticks_(static_cast<std::size_t>(teeth > 0 ? teeth : 1)), hz_(hz) {}

    void edge(std::int64_t tick) {
        ticks_[static_cast<std::size_t>(count_++) % ticks_.size()] = tick;
        last_ = tick;
    }
    [[nodiscard]] double rpm(std::int64_t now) const {
        if (count_ < static_cast<std::int64_t>(ticks_.size()) || ticks_.size() < 2) return kUnknown;
        const std::int64_t oldest = ticks_[static_cast<std::size_t>(count_) % ticks_.size()];
        const double teeth = static_cast<double>(ticks_.size());
        const double period = static_cast<double>(last_ - oldest) / hz_ * teeth / (teeth - 1.0);
        const double since = static_cast<double>(now - last_) / hz_;
        return period > 0.0 && since < period ? 60.0 / period : kUnknown;
    }

  private:
    std::vector<std::int64_t> ticks_;
    double hz_;
    std::int64_t count_ = 0;
    std::int64_t last_ = 0;
};

class Converted : public ItemStream {
  public:
    Converted(std::unique_ptr<ItemStream> stream, const LoadRule& rule, const std::string& path)
        : stream_(std::move(stream)), rule_(rule), path_(path), speed_(rule.teeth, rule.hz) {
        how_.barometric_kpa = rule.barometric_kpa;
        throttle_.bore_mm = rule.throttle_bore_mm;
        throttle_.engine_cm3 = rule.cylinder_cm3 * rule.cylinders;
        throttle_.strokes = rule.strokes;
        throttle_.upstream_kpa = rule.barometric_kpa;
        throttle_.charge = how_;
    }

    bool next(Item& item) override {
        while (stream_->next(item)) {
            if (item.kind == ItemKind::crank) speed_.edge(item.tick);
            if (item.kind != ItemKind::channel) return true;
            const double raw = item.value;
            if (item.channel == Channel::load) item.value = load(item);
            if (std::isnan(item.value) && needs_speed()) continue;  // no speed yet, or the engine stands
            check(item, raw);
            return true;
        }
        return false;
    }
    [[nodiscard]] double done() const override { return stream_->done(); }
    [[nodiscard]] std::vector<std::string> warnings() const override { return stream_->warnings(); }

  private:
    [[nodiscard]] bool needs_speed() const {
        return rule_.unit == "air_g_s" || rule_.unit == "throttle_deg" || rule_.unit == "throttle_percent";
    }

    [[nodiscard]] double load(const Item& item) const {
        constexpr double kKpaInBar = 100.0;
        constexpr double kKpaInMillibar = 0.1;
        constexpr double kKpaInPsi = 6.894757;  // NIST SP 811, appendix B.8 (from memory)
        const double value = item.value;
        if (rule_.unit == "percent") return value / 100.0;
        if (rule_.unit == "of_full_load") return value / rule_.full_load;
        if (rule_.unit == "manifold_kpa") return channel::load_from_manifold_pressure(value, how_);
        if (rule_.unit == "manifold_bar") return channel::load_from_manifold_pressure(value * kKpaInBar, how_);
        if (rule_.unit == "manifold_mbar") return channel::load_from_manifold_pressure(value * kKpaInMillibar, how_);
        if (rule_.unit == "manifold_psi") return channel::load_from_manifold_pressure(value * kKpaInPsi, how_);
        if (rule_.unit == "air_mg") return channel::load_from_air_per_stroke(value, rule_.cylinder_cm3);
        const double rpm = speed_.rpm(item.tick);
        if (rule_.unit == "air_g_s")
            return channel::load_from_air_flow(value, rpm, rule_.cylinder_cm3 * rule_.cylinders, rule_.strokes);
        if (rule_.unit == "throttle_deg") return channel::load_from_throttle(throttle_, value, rpm);
        if (rule_.unit == "throttle_percent")
            return channel::load_from_throttle(throttle_, value / 100.0 * (90.0 - throttle_.closed_deg), rpm);
        return value;
    }

    void check(const Item& item, double raw) const {
        switch (item.channel) {
            case Channel::load:
                return within(
                    item, raw, 0.0, 10.0, "load",
                    " as " + rule_.unit + " does not give a share of a full charge between 0 and 10 (load_unit)");
            case Channel::coolant_c:
                return within(item, raw, -80.0, 250.0, "coolant_c",
                              " is no temperature in degrees Celsius between -80 and 250");
            case Channel::vehicle_kmh: return within(item, raw, 0.0, 600.0, "vehicle_kmh", " does not lie in 0 to 600");
            default: break;
        }
        if (item.value != 0.0 && item.value != 1.0) fail(item, raw, "fuel_cut", " is neither 0 nor 1");
    }
    void within(const Item& item, double raw, double low, double high, const char* name,
                const std::string& what) const {
        if (!(item.value >= low && item.value <= high)) fail(item, raw, name, what);
    }
    [[noreturn]] void fail(const Item& item, double raw, const char* name, const std::string& what) const {
        throw InputError(path_, 0,
                         std::string(name) + " at " + std::to_string(static_cast<double>(item.time_ns) / 1e9) +
                             " s: " + std::to_string(raw) + what);
    }

    std::unique_ptr<ItemStream> stream_;
    LoadRule rule_;
    std::string path_;
    Speed speed_;
    channel::PressureToLoad how_{};
    channel::Throttle throttle_{};
};

}  // namespace

std::unique_ptr<ItemStream> converted(std::unique_ptr<ItemStream> stream, const LoadRule& rule,
                                      const std::string& path) {
    return std::make_unique<Converted>(std::move(stream), rule, path);
}

}  // namespace kurbel::read
