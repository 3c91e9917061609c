// A channel's samples as values that hold until the next: averaged where they come thick and fast, repeated only on change.
#include <algorithm>
#include <cmath>
#include <optional>

#include "read/foreign/stream.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

class ChannelValues : public ItemStream {
  public:
    ChannelValues(std::unique_ptr<Table> table, const ChannelRule& rule) : table_(std::move(table)), rule_(rule) {}

    bool next(Item& item) override {
        while (sample()) {
            if (!(value_ == last_)) {
                last_ = value_;
                item = {ceil_tick(time_ns_, rule_.hz), time_ns_, ItemKind::channel, rule_.channel, value_};
                return true;
            }
        }
        return false;
    }
    [[nodiscard]] double done() const override { return table_->done(); }

  private:
    struct Sample {
        std::int64_t time_ns = 0;
        double value = 0.0;
    };

    /// The next sample of the file that has a value.
    std::optional<Sample> raw() {
        for (;;) {
            if (row_ >= block_.rows) {
                if (!table_->next(block_)) return std::nullopt;
                row_ = 0;
                continue;
            }
            const std::size_t row = row_++;
            const double value = block_.numbers[1][row];
            if (std::isnan(value) || block_.integers[0][row] == kNoTime) continue;
            const std::int64_t own =
                rule_.in_ticks ? time_of_tick(block_.integers[0][row], rule_.hz) : block_.integers[0][row];
            // What would lie before the clock's zero holds from there on.
            const std::int64_t time = own < 0 ? own + shift_ns(own) : std::max<std::int64_t>(0, own + shift_ns(own));
            if (time < before_ns_) table_->fail(row, "the time of a channel runs backwards");
            before_ns_ = time;
            return Sample{time, value};
        }
    }

    /// By which the recording's clock is ahead of the channel's.
    [[nodiscard]] std::int64_t shift_ns(std::int64_t own_ns) const {
        return std::llround(1e9 * rule_.offset_s + rule_.drift * static_cast<double>(own_ns));
    }

    /// The next value with its time: a sample, or the mean over an interval, which holds from the interval's beginning.
    bool sample() {
        if (!pending_) pending_ = raw();
        if (!pending_) return false;
        time_ns_ = pending_->time_ns;
        value_ = pending_->value;
        if (rule_.interval_ns == 0) {
            pending_.reset();
            return true;
        }
        double sum = 0.0;
        double count = 0.0;
        const std::int64_t end_ns = time_ns_ + rule_.interval_ns;
        for (; pending_ && pending_->time_ns < end_ns; pending_ = raw()) {
            sum += pending_->value;
            count += 1.0;
        }
        value_ = sum / count;
        return true;
    }

    std::unique_ptr<Table> table_;
    ChannelRule rule_;
    Block block_;
    std::size_t row_ = 0;
    std::int64_t before_ns_ = -kMostTicks;
    std::optional<Sample> pending_;
    std::int64_t time_ns_ = 0;
    double value_ = kUnknown;
    double last_ = kUnknown;
};

}  // namespace

std::unique_ptr<ItemStream> channel_values(std::unique_ptr<Table> table, const ChannelRule& rule) {
    return std::make_unique<ChannelValues>(std::move(table), rule);
}

}  // namespace kurbel::read
