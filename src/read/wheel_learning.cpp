#include "kurbel/read/wheel_learning.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>
#include <utility>
#include <vector>

#include "kurbel/read/analysis.hpp"
#include "kurbel/stage/decoder.hpp"

namespace kurbel::read {

namespace {

/// Stretches of time in which a misfire and what it leaves behind are heard, in order, apart from each other.
std::vector<std::pair<double, double>> spoilt_times(const std::vector<Event>& events, double cycle_deg) {
    std::vector<std::pair<double, double>> times;
    for (const Event& event : events) {
        if (event.verdict != Verdict::misfire || !(event.speed_rpm > 0.0)) continue;
        const double cycle_s = cycle_deg / 6.0 / event.speed_rpm;
        const std::pair<double, double> now{event.time_s - 0.1 * cycle_s, event.time_s + 1.25 * cycle_s};
        if (!times.empty() && now.first <= times.back().second)
            times.back().second = std::max(times.back().second, now.second);
        else
            times.push_back(now);
    }
    return times;
}

/// Teeth and channels for a learner.
class Listener {
  public:
    Listener(const Config& config, std::vector<std::pair<double, double>> spoilt)
        : spoilt_(std::move(spoilt)), hz_(config.timer.hz) {
        decoder_.configure(config);
        pitch_.configure(config);
    }

    Status push_edge(std::int64_t tick, Signal signal) noexcept {
        const int placed = decoder_.push(tick, signal, teeth_.data());
        for (int i = 0; i < placed; ++i) take(teeth_[static_cast<std::size_t>(i)]);
        return {};
    }

    Status push_channel(std::int64_t, Channel channel, double value) noexcept {
        const int first = static_cast<int>(Channel::fuel_cut_first);
        const int number = static_cast<int>(channel) - first;
        if (channel == Channel::load) load_ = value;
        if (channel == Channel::fuel_cut) cut_ = value > 0.5;
        if (number >= 0 && number < kMaxCylinders)
            one_cut_ = value > 0.5 ? one_cut_ | (1U << number) : one_cut_ & ~(1U << number);
        return {};
    }

    void fill(LearnedWheel& result, const Config& config) const noexcept {
        result.wheel.wheel = config.crank_wheel;
        result.wheel.errors = pitch_.errors(&result.report);
        result.wheel.se_deg = result.report.se_deg;
        result.wheel.revolutions = 2LL * result.report.cycles;
        result.revolutions = revolutions_;
        result.spoilt = spoilt_revolutions_;
        result.without_fuel = without_fuel_;
        result.slowest_rpm = slowest_;
        result.fastest_rpm = fastest_;
        if (config.wheel_errors.teeth > 0) result.fit = pitch_.compare(config.wheel_errors);
    }

  private:
    void take(const Tooth& tooth) noexcept {
        const double time_s = static_cast<double>(tooth.tick) / hz_;
        while (next_ < spoilt_.size() && spoilt_[next_].second < time_s) ++next_;
        // One cylinder alone without fuel is neither firing nor motoring.
        const bool spoilt = (next_ < spoilt_.size() && spoilt_[next_].first <= time_s) || (one_cut_ != 0 && !cut_);
        spoilt_now_ = spoilt_now_ || spoilt;
        if (tooth.index == 0) {
            if (last_zero_ > 0 && tooth.revolution == last_revolution_ + 1 && !tooth.restart)
                end_revolution(60.0 * hz_ / static_cast<double>(tooth.tick - last_zero_));
            last_zero_ = tooth.tick;
            last_revolution_ = tooth.revolution;
            spoilt_now_ = spoilt;
        }
        const int before = pitch_.cycles();
        pitch_.push(tooth, load_, !cut_, spoilt);
        if (pitch_.cycles() == before) return;
        without_fuel_ += cut_ ? 2 : 0;
        slowest_ = std::fmin(slowest_, rpm_);
        fastest_ = std::fmax(fastest_, rpm_);
    }

    void end_revolution(double rpm) noexcept {
        ++revolutions_;
        spoilt_revolutions_ += spoilt_now_ ? 1 : 0;
        rpm_ = rpm;
    }

    Decoder decoder_{};
    PitchCorrection<double> pitch_{};
    std::array<Tooth, kMaxTeethPerPush> teeth_{};
    std::vector<std::pair<double, double>> spoilt_;
    std::size_t next_ = 0;
    double hz_;
    double load_ = kUnknown;
    bool cut_ = false;
    bool spoilt_now_ = false;
    std::uint32_t one_cut_ = 0;
    std::int64_t last_zero_ = 0;
    std::int64_t last_revolution_ = 0;
    long long revolutions_ = 0;
    long long spoilt_revolutions_ = 0;
    long long without_fuel_ = 0;
    double rpm_ = kUnknown;
    double slowest_ = kUnknown;
    double fastest_ = kUnknown;
};

}  // namespace

Result<LearnedWheel> learn_wheel(const Recording& recording) {
    const Result<Analysis> analysis = analyze(recording.config, view_of(recording));
    if (analysis.ok()) return learn_wheel(recording, analysis.value.events);
    Result<LearnedWheel> result;
    result.status = analysis.status;
    return result;
}

Result<LearnedWheel> learn_wheel(const Recording& recording, const std::vector<Event>& events) {
    Result<LearnedWheel> result;
    result.status = validate(recording.config);
    if (!result.ok()) return result;
    // On the heap: too large for some threads' stacks.
    const auto listener =
        std::make_unique<Listener>(recording.config, spoilt_times(events, recording.config.engine.cycle_deg()));
    Feed feed(view_of(recording));
    result.status = feed.run(*listener);
    if (result.ok()) listener->fill(result.value, recording.config);
    return result;
}

}  // namespace kurbel::read
