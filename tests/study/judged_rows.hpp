// Judged firings made up event by event, for studies that start behind the detector. Everything is invented.
#pragma once

#include <cstdint>
#include <functional>
#include <random>

#include "kurbel/study/judged_recording.hpp"

namespace kurbel_test {

/// What one firing of cylinder `cylinder` in cycle `cycle` meets.
struct Moment {
    double speed_rpm = 800.0;
    double load = 0.22;
    double coolant_c = 85.0;
};

/// An even inline four that runs for `cycles` cycles under the moments that `moment` gives and misfires with the chance that
/// `misfires` says.
inline kurbel::JudgedRecording judged_rows(std::int64_t cycles, const std::function<Moment(std::int64_t cycle)>& moment,
                                           const std::function<bool(std::int64_t cycle, int cylinder)>& misfires) {
    kurbel::JudgedRecording recording;
    recording.name = "made-up";
    recording.config.engine.cylinders = 4;
    recording.config.engine.firing_order = {1, 3, 4, 2};
    kurbel::make_even_firing(recording.config.engine);
    double time_s = 0.0;
    for (std::int64_t cycle = 0; cycle < cycles; ++cycle) {
        const Moment now = moment(cycle);
        for (int place = 0; place < 4; ++place) {
            kurbel::Event event;
            event.time_s = time_s;
            event.cycle = cycle;
            event.cylinder = recording.config.engine.firing_order[static_cast<std::size_t>(place)];
            event.speed_rpm = now.speed_rpm;
            event.load = now.load;
            event.verdict = misfires(cycle, event.cylinder) ? kurbel::Verdict::misfire : kurbel::Verdict::fired;
            event.severity = event.verdict == kurbel::Verdict::misfire ? 1.0 : 0.0;
            recording.events.push_back(event);
            recording.coolant_c.push_back(now.coolant_c);
            time_s += 30.0 / now.speed_rpm;
        }
    }
    recording.seconds = time_s;
    return recording;
}

/// Independent draws with a chance of their own each.
class Draw {
  public:
    explicit Draw(std::uint64_t seed) : random_(seed) {}
    bool operator()(double chance) {
        return static_cast<double>(random_() >> 11) * 0x1.0p-53 < chance;  // the same numbers with every library
    }

  private:
    std::mt19937_64 random_;
};

/// Misfires in a row: from each place a burst of `length` begins with chance `begins`.
class Bursts {
  public:
    Bursts(std::uint64_t seed, double begins, int length) : draw_(seed), begins_(begins), length_(length) {}
    bool operator()() {
        if (left_ == 0 && draw_(begins_)) left_ = length_;
        if (left_ == 0) return false;
        --left_;
        return true;
    }

  private:
    Draw draw_;
    double begins_;
    int length_;
    int left_ = 0;
};

}  // namespace kurbel_test
