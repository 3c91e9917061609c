// A learner that listens to a recording.
#pragma once

#include <cstdint>
#include <limits>

#include "kurbel/read/analysis.hpp"
#include "kurbel/stage/decoder.hpp"
#include "kurbel/stage/pitch_correction.hpp"

namespace kurbel_pitch {

/// Feeds the teeth of a recording to a learner, at most so many revolutions.
template <class Real>
class Learner {
  public:
    Learner(const kurbel::Config& config, std::int64_t most_revolutions) : most_(most_revolutions) {
        decoder_.configure(config);
        pitch.configure(config);
    }
    kurbel::Status push_edge(std::int64_t tick, kurbel::Signal signal) {
        const int placed = decoder_.push(tick, signal, teeth_);
        for (int i = 0; i < placed; ++i)
            if (teeth_[i].revolution < most_) pitch.push(teeth_[i], load_, !cut_);
        return {};
    }
    kurbel::Status push_channel(std::int64_t, kurbel::Channel channel, double value) {
        if (channel == kurbel::Channel::load) load_ = static_cast<Real>(value);
        if (channel == kurbel::Channel::fuel_cut) cut_ = value > 0.5;
        return {};
    }

    kurbel::PitchCorrection<Real> pitch;

  private:
    std::int64_t most_;
    kurbel::Decoder decoder_{};
    kurbel::Tooth teeth_[kurbel::kMaxTeethPerPush];
    Real load_ = std::numeric_limits<Real>::quiet_NaN();
    bool cut_ = false;
};

}  // namespace kurbel_pitch
