// Invented engines and faults, event by event: what the studies are measured on. No recording stands behind any of it.
#pragma once

#include <cmath>
#include <cstdint>
#include <random>
#include <vector>

#include "kurbel/study/judged_recording.hpp"

namespace kurbel_studies {

/// Uniform numbers, the same on every machine.
class Random {
  public:
    explicit Random(std::uint64_t seed) : engine_(seed) {}
    double uniform() { return static_cast<double>(engine_() >> 11) * 0x1p-53; }
    double uniform(double low, double high) { return low + (high - low) * uniform(); }
    double log_uniform(double low, double high) { return low * std::exp(std::log(high / low) * uniform()); }
    int below(int n) { return static_cast<int>(uniform() * n); }
    bool chance(double p) { return uniform() < p; }
    /// Sum of twelve uniform numbers less six: near enough to normal for speeds and rates.
    double normal() {
        double sum = -6.0;
        for (int i = 0; i < 12; ++i) sum += uniform();
        return sum;
    }

  private:
    std::mt19937_64 engine_;
};

/// How a faulty cylinder loses firings.
struct Fault {
    enum class Kind { independent, clusters, bursts } kind = Kind::independent;
    double rate = 0.0;    ///< of its firings, in the long run
    double length = 1.0;  ///< mean length of a cluster or burst, firings
    double duty = 1.0;    ///< share lost within one

    static Fault draw(Random& random, double low = 0.01, double high = 1.0) {
        Fault fault;
        fault.rate = random.log_uniform(low, high);
        fault.kind = static_cast<Kind>(random.below(3));
        fault.length = random.log_uniform(2.0, 15.0);
        fault.duty = random.chance(0.5) ? 1.0 : 0.6;
        // A cluster cannot hold less than the rate itself.
        if (fault.rate > 0.8 * fault.duty) fault.kind = Kind::independent;
        return fault;
    }
};

/// A fault at work: lost or not, firing by firing.
class Losing {
  public:
    Losing() = default;
    Losing(const Fault& fault, Random& random) : fault_(fault) {
        const double share = fault.rate / fault.duty;
        bad_ = random.chance(share);
        if (fault.kind == Fault::Kind::bursts) left_ = bad_ ? 1 + random.below(burst()) : 0;
    }
    bool lost(Random& random) {
        if (!(fault_.rate > 0.0)) return false;
        if (fault_.kind == Fault::Kind::independent) return random.chance(fault_.rate);
        const double share = fault_.rate / fault_.duty;
        const double good_length = fault_.length * (1.0 - share) / share;
        if (fault_.kind == Fault::Kind::clusters) {
            bad_ = bad_ ? !random.chance(1.0 / fault_.length) : random.chance(std::min(1.0 / good_length, 1.0));
        } else {
            if (left_ > 0) --left_;
            if (left_ == 0 && random.chance(std::min(1.0 / good_length, 1.0))) left_ = burst();
            bad_ = left_ > 0;
        }
        return bad_ && random.chance(fault_.duty);
    }

  private:
    [[nodiscard]] int burst() const { return static_cast<int>(std::lround(fault_.length)); }
    Fault fault_{};
    bool bad_ = false;
    int left_ = 0;
};

/// An engine at an operating point, and how well it is read.
struct Engine {
    int cylinders = 4;
    double speed_rpm = 800.0;
    double wander_rpm = 40.0;
    double load = 0.25;
    double detected = 0.99;     ///< of the lost firings
    double false_alarm = 5e-5;  ///< of the others
    double misread = 0.001;     ///< of lost firings, put on the next cylinder too

    static Engine draw(Random& random) {
        constexpr int kLayouts[] = {3, 4, 4, 5, 6, 8};
        Engine engine;
        engine.cylinders = kLayouts[random.below(6)];
        const bool idle = random.chance(0.6);
        engine.speed_rpm = idle ? random.uniform(650.0, 950.0) : random.uniform(1400.0, 2600.0);
        engine.wander_rpm = idle ? 25.0 : 90.0;
        engine.load = idle ? 0.22 : random.uniform(0.25, 0.6);
        engine.detected = random.uniform(0.9, 1.0);
        engine.false_alarm = random.log_uniform(1e-5, 3e-4);
        engine.misread = random.uniform(0.0, 0.004);
        return engine;
    }
};

/// A recording of `seconds` in which cylinder c (1-based) has faults[c - 1] (rate 0: healthy). A longer one begins with the same
/// firings as a shorter one.
inline kurbel::JudgedRecording record(const Engine& engine, const std::vector<Fault>& faults, double seconds,
                                      const char* name, std::uint64_t seed) {
    using namespace kurbel;
    Random random(seed);
    JudgedRecording made;
    made.name = name;
    made.config.engine.cylinders = engine.cylinders;
    for (int c = 0; c < engine.cylinders; ++c) made.config.engine.firing_order[static_cast<std::size_t>(c)] = c + 1;
    std::vector<Losing> losing;
    for (const Fault& fault : faults) losing.emplace_back(fault, random);
    double time = 0.0;
    double wander = 0.0;
    double slow = 0.0;
    bool misread = false;
    for (std::int64_t cycle = 0; time < seconds; ++cycle) {
        wander += 0.05 * (engine.wander_rpm * random.normal() - wander);
        slow += 0.002 * (4.0 * engine.wander_rpm * random.normal() - slow);
        const double speed = engine.speed_rpm + 3.0 * wander + 5.0 * slow;
        for (int c = 0; c < engine.cylinders; ++c) {
            Event event;
            event.time_s = time;
            event.cycle = cycle;
            event.cylinder = c + 1;
            event.speed_rpm = speed;
            event.load = engine.load + 0.01 * random.normal();
            const bool lost = losing[static_cast<std::size_t>(c)].lost(random);
            bool called = random.chance(lost ? engine.detected : engine.false_alarm) || misread;
            misread = lost && random.chance(engine.misread);
            const bool learning = time < 5.0 || cycle < 20;
            const bool unjudged = learning || random.chance(0.01);
            event.verdict = unjudged ? Verdict::unjudged : called ? Verdict::misfire : Verdict::fired;
            event.reason = unjudged ? Reason::learning : Reason::none;
            made.events.push_back(event);
            time += 120.0 / speed / engine.cylinders;
        }
    }
    made.seconds = time;
    return made;
}

}  // namespace kurbel_studies
