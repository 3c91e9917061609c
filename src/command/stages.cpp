#include "command/stages.hpp"

#include <array>
#include <cmath>
#include <fstream>
#include <numbers>

#include "command/text.hpp"
#include "kurbel/read/analysis.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/stage/decoder.hpp"
#include "kurbel/stage/segmenter.hpp"

namespace kurbel::command {

namespace {

double wrapped_angle(double angle_deg, double cycle_deg) {
    const double angle = std::fmod(angle_deg, cycle_deg);
    return angle < 0.0 ? angle + cycle_deg : angle;
}

/// Takes edges as a detector does, and writes what comes out of the stages.
class StageWriter {
  public:
    StageWriter(const Config& config, std::ofstream& teeth, std::ofstream& segments)
        : config_(config),
          grid_(make_cycle_grid(config.engine, config.crank_wheel)),
          teeth_(teeth),
          segments_(segments) {
        decoder_.configure(config);
        segmenter_.configure(config, grid_);
        teeth_ << "tick,time_s,revolution,tooth,half,angle_deg,phase_known,restart\n";
        segments_
            << "time_s,seconds,angle_deg,width_deg,speed_rpm,energy_rad2_s2,acceleration_rad_s2,phase_known,restart\n";
    }

    Status push_edge(std::int64_t raw_tick, Signal signal) noexcept {
        std::array<Tooth, kMaxTeethPerPush> teeth;
        take(teeth.data(), decoder_.push(raw_tick, signal, teeth.data()));
        return {};
    }
    Status push_channel(std::int64_t, Channel, double) noexcept { return {}; }

    void finish() {
        std::array<Tooth, kMaxTeethPerPush> teeth;
        take(teeth.data(), decoder_.finish(teeth.data()));
        if (has_waiting_) write_segment(kUnknown);
    }

  private:
    void take(const Tooth* teeth, int count) {
        for (int i = 0; i < count; ++i) {
            write_tooth(teeth[i]);
            segmenter_.push(teeth[i], [this](const Bin<double>& bin) { take_bin(bin); });
        }
    }

    void write_tooth(const Tooth& tooth) {
        const double place = static_cast<double>(config_.crank_wheel.angle_deg[static_cast<std::size_t>(tooth.index)]);
        const double angle =
            wrapped_angle(place - config_.crank_wheel.tdc1_deg + 360.0 * tooth.half, config_.engine.cycle_deg());
        teeth_ << format("%lld,%.9f,%lld,%d,%d,%.7g,%d,%d\n", static_cast<long long>(tooth.tick),
                         static_cast<double>(tooth.tick) / config_.timer.hz, static_cast<long long>(tooth.revolution),
                         tooth.index, static_cast<int>(tooth.half), angle, tooth.phase_known ? 1 : 0,
                         tooth.restart ? 1 : 0);
    }

    /// A segment waits for the next one, which its acceleration needs.
    void take_bin(const Bin<double>& bin) {
        const double width_rad = grid_.bin_deg * std::numbers::pi / 180.0;
        if (has_waiting_) write_segment(bin.restart ? kUnknown : (bin.energy - waiting_.energy) / width_rad);
        waiting_ = bin;
        has_waiting_ = true;
    }

    void write_segment(double acceleration) {
        const double hz = config_.timer.hz;
        const double seconds = waiting_.ticks / hz;
        const auto place = (waiting_.index + waiting_.turn) % grid_.bins;
        segments_ << format("%.9f,%.9g,%.7g,%.7g,%.9g,%.9g,", static_cast<double>(waiting_.begin_tick) / hz, seconds,
                            static_cast<double>(place) * grid_.bin_deg, grid_.bin_deg, grid_.bin_deg / 6.0 / seconds,
                            waiting_.energy);
        if (!std::isnan(acceleration)) segments_ << format("%.9g", acceleration);
        segments_ << (waiting_.phase_known ? ",1," : ",0,") << (waiting_.restart ? "1\n" : "0\n");
    }

    Config config_;
    CycleGrid grid_;
    std::ofstream& teeth_;
    std::ofstream& segments_;
    Decoder decoder_{};
    Segmenter<double> segmenter_{};
    Bin<double> waiting_{};
    bool has_waiting_ = false;
};

}  // namespace

void write_stages(const std::string& folder, const read::Recording& recording) {
    const std::string teeth_path = folder + "/teeth.csv";
    const std::string segments_path = folder + "/segments.csv";
    std::ofstream teeth(teeth_path, std::ios::binary | std::ios::trunc);
    std::ofstream segments(segments_path, std::ios::binary | std::ios::trunc);
    StageWriter writer(recording.config, teeth, segments);
    read::Feed feed(read::view_of(recording));
    if (const Status status = feed.run(writer); !status) throw std::logic_error(status.why);
    writer.finish();
    teeth.close();
    segments.close();
    if (!teeth) throw read::InputError(teeth_path, 0, "cannot be written");
    if (!segments) throw read::InputError(segments_path, 0, "cannot be written");
}

}  // namespace kurbel::command
