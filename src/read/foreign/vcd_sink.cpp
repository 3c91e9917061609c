// A value change dump of a recording. Times are picoseconds where the recording's clock is not that of nanoseconds; the comment keeps
// the clock, so that reading gives the same ticks.
#include <array>
#include <charconv>
#include <cmath>
#include <fstream>
#include <map>

#include "kurbel/core/version.hpp"
#include "kurbel/read/input_error.hpp"
#include "read/config_toml.hpp"
#include "read/foreign/sink.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

class VcdSink : public Sink {
  public:
    VcdSink(const SinkFile& file, const Config& config, const std::vector<Channel>& channels)
        : name_(file.name),
          hz_(config.timer.hz),
          in_ns_(hz_ == 1e9),
          file_(file.path, std::ios::binary | std::ios::trunc) {
        file_ << "$version kurbel " << KURBEL_VERSION_STRING << " $end\n$timescale 1 " << (in_ns_ ? "ns" : "ps")
              << " $end\n";
        file_ << "$comment kurbel recording\n" << to_toml(config) << "$end\n";
        file_ << "$scope module engine $end\n$var event 1 ! crank $end\n$var event 1 \" cam $end\n";
        char code = '#';
        for (const Channel channel : channels) {
            codes_[channel] = code;
            file_ << "$var real 64 " << code++ << " " << channel_name(channel) << " $end\n";
        }
        file_ << "$upscope $end\n$enddefinitions $end\n";
    }

    void take(const Item& item) override {
        const std::int64_t time = time_of(item);
        if (time < 0)
            throw InputError(name_, 0, "the recording begins before time 0, which a value change dump cannot tell");
        if (time < time_) throw InputError(name_, 0, "a channel's value lies before the edges around it");
        if (time != time_) file_ << '#' << time << '\n';
        time_ = time;
        if (item.kind == ItemKind::channel) {
            std::array<char, 40> buffer{};
            file_ << 'r'
                  << std::string_view(buffer.data(),
                                      static_cast<std::size_t>(
                                          std::to_chars(buffer.data(), buffer.data() + buffer.size(), item.value).ptr -
                                          buffer.data()))
                  << ' ' << codes_.at(item.channel) << '\n';
        } else {
            file_ << (item.kind == ItemKind::cam ? "1\"\n" : "1!\n");
        }
    }

    void finish() override {
        file_.close();
        if (!file_) throw InputError(name_, 0, "cannot be written");
    }

  private:
    [[nodiscard]] std::int64_t time_of(const Item& item) const {
        if (in_ns_) return item.kind == ItemKind::channel ? ceil_tick(item.time_ns, hz_) : item.tick;
        constexpr double kPicoseconds = 1e12;
        const double seconds = std::floor(static_cast<double>(item.tick) / hz_);
        const double rest = static_cast<double>(item.tick) - seconds * hz_;
        if (!(std::abs(seconds) < 4e6))
            throw InputError(name_, 0, "is longer than a value change dump in picoseconds can tell");
        return static_cast<std::int64_t>(seconds) * 1000000000000 + std::llround(rest / hz_ * kPicoseconds);
    }

    std::string name_;
    double hz_;
    bool in_ns_;
    std::ofstream file_;
    std::map<Channel, char> codes_;
    std::int64_t time_ = -1;
};

}  // namespace

std::unique_ptr<Sink> vcd_sink(const SinkFile& file, const Config& config, const std::vector<Channel>& channels) {
    return std::make_unique<VcdSink>(file, config, channels);
}

}  // namespace kurbel::read
