// A wheel that runs out shows what a dead pair a revolution apart shows: an order once a revolution. What their firings do
// tells the two from one another.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel {
namespace {

/// An inline four (1 3 4 2) in gear for 20 seconds, on a wheel of 60 - 2 teeth that runs out by `run_out_deg`.
simulate::Scenario engine(double run_out_deg, std::uint64_t seed) {
    using namespace simulate::test;
    simulate::Scenario s = on_a_good_wheel(in_gear(inline_four(), 2400.0, 0.3), 20.0);
    s.seed = seed;
    s.wheel_error.run_out_deg = run_out_deg;
    return s;
}

struct Shares {
    double found = 0.0;   ///< of the misfires
    double called = 0.0;  ///< of the healthy firings
};

Shares judged(const simulate::Scenario& scenario, double from_s) {
    const read::Recording recording = simulate::simulate(scenario);
    const Result<read::Analysis> result = read::analyze(recording, Settings{});
    EXPECT_TRUE(result.ok());
    int lost = 0;
    int found = 0;
    int healthy = 0;
    int called = 0;
    std::size_t next = 0;
    const std::vector<Event>& events = result.value.events;
    for (const read::TruthRow& row : recording.truth) {
        if (row.time_s < from_s) continue;
        while (next < events.size() && events[next].time_s < row.time_s - 0.003) ++next;
        const bool there = next < events.size() && std::fabs(events[next].time_s - row.time_s) < 0.003;
        const bool misfire = there && events[next].verdict == Verdict::misfire && events[next].cylinder == row.cylinder;
        ++(row.severity >= 0.5 ? lost : healthy);
        if (misfire) ++(row.severity >= 0.5 ? found : called);
    }
    return {static_cast<double>(found) / std::max(lost, 1), static_cast<double>(called) / std::max(healthy, 1)};
}

TEST(EccentricWheel, IsNoDeadPair) {
    simulate::MisfireRule random;
    random.pattern = simulate::MisfirePattern::random;
    random.rate = 0.05;
    for (const double run_out_deg : {0.2, 0.3, 0.4})
        for (const std::uint64_t seed : {21U, 22U}) {
            simulate::Scenario s = engine(run_out_deg, seed);
            s.misfires = {random};
            const Shares shares = judged(s, 1.5);
            const std::string what = std::to_string(run_out_deg) + " deg, seed " + std::to_string(seed);
            EXPECT_GE(shares.found, 0.98) << what;
            EXPECT_LE(shares.called, 0.002) << what;
        }
}

TEST(EccentricWheel, ADeadPairIsNoEccentricWheel) {
    simulate::MisfireRule dead;
    dead.pattern = simulate::MisfirePattern::continuous;
    for (const std::vector<int>& pair : {std::vector<int>{1, 4}, {2, 3}})
        for (const double run_out_deg : {0.02, 0.06}) {
            simulate::Scenario s = engine(run_out_deg, 31);
            dead.cylinders = pair;
            s.misfires = {dead};
            // Some cycles pass before their firings have told. A run-out of 0.15 degrees that happens to stand against the pair's
            // order hides it for longer than this.
            const Shares shares = judged(s, 3.0);
            const std::string what = std::to_string(pair[0]) + ", " + std::to_string(run_out_deg) + " deg";
            EXPECT_GE(shares.found, 0.99) << what;
            EXPECT_LE(shares.called, 0.002) << what;
        }
}

}  // namespace
}  // namespace kurbel
