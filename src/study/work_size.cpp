#include "study/work_size.hpp"

#include <algorithm>
#include <cmath>

#include "kurbel/stage/expected_work.hpp"

namespace kurbel {

namespace {

/// Of expected work by load, geometry and inertia, share (engineering range, from memory).
constexpr double kSizeDoubt = 0.12;
constexpr double kLoadDoubt = 0.10;        ///< of a load channel, share (engineering range, from memory)
constexpr double kIdleChargeDoubt = 0.02;  ///< of the charge that does no work (residual gas, from memory)
constexpr double kIdleCharge = 0.09;       ///< as in ExpectedWork
constexpr double kSizeGuessed = 0.3;       ///< where one of these is not known
constexpr double kFastestIdle_hz = 20.0;   ///< faster, an engine without load is in a fuel cut, or about to be
constexpr double kFrictionDoubt = 0.25;    ///< accessories, oil, inertia as told (engineering range, from memory)

double square(double x) { return x * x; }

/// Indicated mean pressure that friction and pumping take, bar.
double taken_bar(double rev_hz, double load) {
    const double thousand_rpm = 0.06 * rev_hz;
    return 0.97 + 0.15 * thousand_rpm + 0.05 * square(thousand_rpm) + (1.0 - std::clamp(load, 0.0, 1.0));
}

}  // namespace

WorkSize size_of_work(const EngineConfig& engine, const RunningMeans& running) {
    const double full = ExpectedWork<double>::work_at_full_charge(engine);
    WorkSize size{full * running.useful_charge, kSizeGuessed};
    const bool sized = engine.bore_mm > 0.0 && engine.stroke_mm > 0.0 && engine.inertia_kg_m2 > 0.0;
    if (!sized || !running.load_known) return size;
    const double load = running.useful_charge + kIdleCharge;
    size.doubt =
        std::hypot(kSizeDoubt, kLoadDoubt * load / running.useful_charge, kIdleChargeDoubt / running.useful_charge);
    if (engine.strokes == 2 || !running.always_fuelled || running.rev_hz > kFastestIdle_hz) return size;
    const double taken = full * taken_bar(running.rev_hz, load) / ExpectedWork<double>::kFullPressure_bar;
    const double by_load = 1.0 / square(size.doubt * size.mean);
    const double by_friction = 1.0 / square(std::hypot(kFrictionDoubt * taken, std::max(size.mean - taken, 0.0)));
    size.mean = (by_load * size.mean + by_friction * taken) / (by_load + by_friction);
    // Both rest on the inertia as told.
    size.doubt = std::max(std::sqrt(1.0 / (by_load + by_friction)) / size.mean, kSizeDoubt);
    return size;
}

}  // namespace kurbel
