#include "read/foreign/waveform_stream.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "kurbel/read/input_error.hpp"
#include "kurbel/signal/waveform_edges.hpp"
#include "read/foreign/sample_clock.hpp"

namespace kurbel::read {

namespace {

using signal::Finding;

/// Samples at the beginning that are kept, so that kind of sensor and flank are learned from them before they are gone through.
constexpr std::size_t kHeadSamples = 1U << 20U;
constexpr double kLookAhead_s = 4.0;

class WaveformStream : public ItemStream {
  public:
    WaveformStream(std::unique_ptr<Table> table, const WaveformRule& rule)
        : table_(std::move(table)), rule_(rule), values_at_(rule.in_time_units ? 1 : 0) {
        const double rate_hz = rule_.rate_hz > 0.0 ? rule_.rate_hz : table_->rate_hz();
        if (rate_hz > 0.0) clock_.tell_rate(rate_hz);
        read_head();
        clock_.start(rule_.hz, *table_);
        signal::WaveformSettings settings;
        settings.rate_hz = clock_.rate_hz();
        settings.tick_hz = rule_.hz;
        if (rule_.sensor == "inductive") settings.kind = signal::SensorKind::inductive;
        if (rule_.sensor == "digital") settings.kind = signal::SensorKind::digital;
        if (rule_.flank == "falling") settings.flank = signal::Flank::falling;
        if (rule_.flank == "rising") settings.flank = signal::Flank::rising;
        const Status status = signal::validate(settings);
        if (!status) throw InputError(rule_.path, 0, std::string(status.parameter) + " " + status.why);
        edges_ = std::make_unique<signal::WaveformEdges>();
        *edges_ = signal::WaveformEdges::create(settings).value;
        learn();
    }

    bool next(Item& item) override {
        signal::WaveformEdge edge;
        while (!edges_->next_edge(edge)) {
            if (finished_) {
                refuse_noise();
                return false;
            }
            push_some();
        }
        // An edge may lie before the one that was given out only by rounding.
        last_ = std::max(last_, clock_.tick(edge.time_s * clock_.rate_hz()));
        item = {last_, 0, rule_.kind, Channel::load, 0.0};
        return true;
    }

    [[nodiscard]] double done() const override { return table_->done(); }

    [[nodiscard]] std::vector<std::string> warnings() const override {
        std::vector<std::string> texts;
        const signal::WaveformReport report = edges_->report();
        for (int bit = 0; bit < signal::kFindings; ++bit)
            if ((report.findings >> static_cast<unsigned>(bit)) & 1U)
                texts.push_back(std::string(rule_.kind == ItemKind::cam ? "cam: " : "crank: ") +
                                signal::finding_advice(bit));
        return texts;
    }

  private:
    /// The next samples behind those that wait; false at the end.
    bool read_block(std::vector<double>& samples) {
        if (!table_->next(block_)) return false;
        if (rule_.in_time_units) clock_.see(block_.integers[0], *table_);
        const std::vector<double>& values = block_.numbers[values_at_];
        for (std::size_t row = 0; row < values.size(); ++row)
            if (std::isnan(values[row])) table_->fail(row, "a sample is missing");
        samples.insert(samples.end(), values.begin(), values.end());
        return true;
    }

    void read_head() {
        while (samples_.size() < kHeadSamples && read_block(samples_)) continue;
        if (samples_.empty()) throw InputError(rule_.path, 0, "holds no samples");
    }

    /// Goes through the beginning once, so that nothing of it is lost to finding out what kind of signal this is.
    void learn() {
        signal::WaveformEdge edge;
        const double most = kLookAhead_s * clock_.rate_hz();
        const std::size_t count =
            most < static_cast<double>(samples_.size()) ? static_cast<std::size_t>(most) : samples_.size();
        for (std::size_t at = 0; at < count;) {
            at += edges_->push(samples_.data() + at, count - at);
            while (edges_->next_edge(edge)) continue;
        }
        edges_->finish();
        while (edges_->next_edge(edge)) continue;
        edges_->rewind();
    }

    /// Edges among noise are no crank's.
    void refuse_noise() const {
        const signal::WaveformReport report = edges_->report();
        if (rule_.kind != ItemKind::crank || report.edges == 0 || !report.has(Finding::no_signal)) return;
        constexpr int kNoSignalBit = 0;
        throw InputError(rule_.path, 0, std::string("crank: ") + signal::finding_advice(kNoSignalBit));
    }

    void push_some() {
        if (at_ == samples_.size()) {
            samples_.clear();
            at_ = 0;
            if (!read_block(samples_)) {
                edges_->finish();
                finished_ = true;
                return;
            }
        }
        at_ += edges_->push(samples_.data() + at_, samples_.size() - at_);
    }

    std::unique_ptr<Table> table_;
    WaveformRule rule_;
    std::size_t values_at_;
    SampleClock clock_;
    Block block_;
    std::vector<double> samples_;
    std::size_t at_ = 0;
    std::int64_t last_ = std::numeric_limits<std::int64_t>::min();
    bool finished_ = false;
    std::unique_ptr<signal::WaveformEdges> edges_;
};

}  // namespace

std::unique_ptr<ItemStream> waveform_edges(std::unique_ptr<Table> table, const WaveformRule& rule) {
    return std::make_unique<WaveformStream>(std::move(table), rule);
}

}  // namespace kurbel::read
