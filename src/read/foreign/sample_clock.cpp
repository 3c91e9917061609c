#include "read/foreign/sample_clock.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>

#include "read/foreign/waveform_stream.hpp"

namespace kurbel::read {

void SampleClock::see(const std::vector<std::int64_t>& ticks, const Table& table) {
    for (std::size_t row = 0; row < ticks.size(); ++row)
        if (ticks[row] == kNoTime) table.fail(row, "a sample has no time");
    if (ticks.empty()) return;
    const double count = static_cast<double>(ticks.size());
    if (told_) {
        if (rows_ == 0.0) origin_ = ticks.front();
    } else if (rows_ == 0.0) {
        fit_first(ticks, table);
    } else {
        check(ticks, table);
        double mean = 0.0;
        for (const std::int64_t tick : ticks) mean += static_cast<double>(tick - origin_) / count;
        step_ = (mean - first_tick_) / (rows_ + 0.5 * (count - 1.0) - first_sample_);
    }
    rows_ += count;
}

void SampleClock::fit_first(const std::vector<std::int64_t>& ticks, const Table& table) {
    const double count = static_cast<double>(ticks.size());
    if (ticks.size() < 3) table.fail(0, "too few samples to tell the sampling rate from their times");
    origin_ = ticks.front();
    first_sample_ = 0.5 * (count - 1.0);
    for (const std::int64_t tick : ticks) first_tick_ += static_cast<double>(tick - origin_) / count;
    double top = 0.0;
    double bottom = 0.0;
    for (std::size_t i = 0; i < ticks.size(); ++i) {
        const double x = static_cast<double>(i) - first_sample_;
        top += x * (static_cast<double>(ticks[i] - origin_) - first_tick_);
        bottom += x * x;
    }
    step_ = top / bottom;
    if (!(step_ > 0.0)) table.fail(0, "the times of the samples do not rise");
    // What digits are missing shows as residuals around the line; a jump is much larger than they.
    double squares = 0.0;
    for (std::size_t i = 0; i < ticks.size(); ++i) {
        const double off =
            static_cast<double>(ticks[i] - origin_) - first_tick_ - step_ * (static_cast<double>(i) - first_sample_);
        squares += off * off;
    }
    constexpr double kCoarsest = 50.0;  // samples that share one printed time
    const double rms = std::sqrt(squares / count);
    if (rms > kCoarsest * step_)
        table.fail(0, "the times of the samples are not even: this is no waveform of one sampling rate");
    tolerance_ = std::max(1.5 * step_, 6.0 * rms);
    check(ticks, table);
}

void SampleClock::check(const std::vector<std::int64_t>& ticks, const Table& table) const {
    for (std::size_t i = 0; i < ticks.size(); ++i) {
        const double expected = first_tick_ + step_ * (rows_ + static_cast<double>(i) - first_sample_);
        const double off = static_cast<double>(ticks[i] - origin_) - expected;
        if (std::abs(off) > tolerance_)
            table.fail(i, "the time jumps by " + std::to_string(off / step_) +
                              " samples: the capture is not of one piece, or was not "
                              "sampled evenly");
    }
}

void SampleClock::start(double hz, const Table& table) {
    if (rate_hz_ == 0.0 && step_ == 0.0)
        table.fail(0, "nothing tells the sampling rate: give rate_hz, or name the column of times");
    if (rate_hz_ == 0.0)
        rate_hz_ = hz / step_;
    else
        step_ = hz / rate_hz_;
}

std::int64_t SampleClock::tick(double sample) const noexcept {
    return origin_ + std::llround(first_tick_ + step_ * (sample - first_sample_));
}

namespace {

class CountedTimes : public Table {
  public:
    CountedTimes(std::unique_ptr<Table> samples, double rate_hz)
        : samples_(std::move(samples)), rate_hz_(rate_hz > 0.0 ? rate_hz : samples_->rate_hz()) {}

    bool next(Block& block) override {
        if (!samples_->next(inner_)) return false;
        block.clear(2);
        block.rows = inner_.rows;
        block.numbers[1] = inner_.numbers[0];
        block.integers[0].resize(block.rows);
        for (std::size_t row = 0; row < block.rows; ++row)
            block.integers[0][row] = std::llround((first_ + static_cast<double>(row)) / rate_hz_ * 1e9);
        first_ += static_cast<double>(block.rows);
        return true;
    }
    [[nodiscard]] double done() const override { return samples_->done(); }
    [[noreturn]] void fail(std::size_t row, const std::string& cause) const override {
        samples_->fail(row, cause);
        std::abort();  // fail does not return, but g++ does not believe it of a virtual function
    }

  private:
    std::unique_ptr<Table> samples_;
    double rate_hz_;
    Block inner_;
    double first_ = 0.0;
};

}  // namespace

std::unique_ptr<Table> counted_times(std::unique_ptr<Table> samples, double rate_hz) {
    return std::make_unique<CountedTimes>(std::move(samples), rate_hz);
}

}  // namespace kurbel::read
