// Streams of edges from lists, mixed lists and digital levels; and the merging of streams.
#include <algorithm>
#include <cmath>

#include "read/foreign/stream.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

/// Turns what a timer counted into an unwrapped clock that never runs backwards.
class Unwrapper {
  public:
    /// `perhaps` follows the complaint of times that run backwards: what they may be instead.
    explicit Unwrapper(const FileClock& clock, const char* perhaps = "") : bits_(clock.timer.bits), perhaps_(perhaps) {}

    std::int64_t operator()(const Table& table, std::size_t row, std::int64_t raw) {
        if (bits_ > 0 && (raw < 0 || raw >= (std::int64_t{1} << bits_)))
            table.fail(row, "the tick " + std::to_string(raw) + " does not fit a counter of " + std::to_string(bits_) +
                                " bits (timer_bits)");
        if (any_ && runs_backwards(raw_, raw, bits_)) table.fail(row, std::string("time runs backwards") + perhaps_);
        clock_ = any_ ? unwrap_tick(clock_, raw_, raw, bits_) : raw;
        if (clock_ > kMostTicks) table.fail(row, "time is beyond all measure");
        raw_ = raw;
        any_ = true;
        return clock_;
    }

  private:
    int bits_ = 0;
    const char* perhaps_;
    bool any_ = false;
    std::int64_t raw_ = 0;
    std::int64_t clock_ = 0;
};

/// Walks a table row by row.
class Rows {
  public:
    explicit Rows(std::unique_ptr<Table> table) : table_(std::move(table)) {}

    bool next() {
        if (started_ && row_ + 1 < block_.rows) {
            ++row_;
            return true;
        }
        do {
            if (!table_->next(block_)) return false;
        } while (block_.rows == 0);
        row_ = 0;
        started_ = true;
        return true;
    }
    [[nodiscard]] std::size_t row() const noexcept { return row_; }
    [[nodiscard]] double number(std::size_t wish) const { return block_.numbers[wish][row_]; }
    [[nodiscard]] std::int64_t integer(std::size_t wish) const { return block_.integers[wish][row_]; }
    [[nodiscard]] const Table& table() const noexcept { return *table_; }
    [[nodiscard]] double done() const { return table_->done(); }

  private:
    std::unique_ptr<Table> table_;
    Block block_;
    std::size_t row_ = 0;
    bool started_ = false;
};

/// What every stream over the rows of one table is.
class FromRows : public ItemStream {
  public:
    explicit FromRows(std::unique_ptr<Table> table) : rows_(std::move(table)) {}
    [[nodiscard]] double done() const override { return rows_.done(); }

  protected:
    Rows rows_;
};

class EdgeList : public FromRows {
  public:
    EdgeList(std::unique_ptr<Table> table, ItemKind kind, const FileClock& clock)
        : FromRows(std::move(table)),
          kind_(kind),
          unwrap_(clock, "; if these are voltages, name the column of their times (time) or their rate (rate_hz)") {}

    bool next(Item& item) override {
        while (rows_.next()) {
            if (rows_.integer(0) == kNoTime) continue;  // lists of different length stand side by side in tables
            item = {unwrap_(rows_.table(), rows_.row(), rows_.integer(0)), 0, kind_, Channel::load, 0.0};
            return true;
        }
        return false;
    }

  private:
    ItemKind kind_;
    Unwrapper unwrap_;
};

class MixedList : public FromRows {
  public:
    MixedList(std::unique_ptr<Table> table, std::vector<WordMeaning> words, bool has_value, const FileClock& clock)
        : FromRows(std::move(table)),
          words_(std::move(words)),
          has_value_(has_value),
          hz_(clock.timer.hz),
          unwrap_(clock) {}

    bool next(Item& item) override {
        while (rows_.next()) {
            const std::int64_t word = rows_.integer(1);
            if (word < 0) continue;
            if (rows_.integer(0) == kNoTime) rows_.table().fail(rows_.row(), "has no time");
            const WordMeaning meaning = words_[static_cast<std::size_t>(word)];
            item = {unwrap_(rows_.table(), rows_.row(), rows_.integer(0)), 0, meaning.kind, meaning.channel, 0.0};
            if (meaning.kind != ItemKind::channel) return true;
            if (!has_value_ || std::isnan(rows_.number(2))) continue;
            item.value = rows_.number(2);
            item.time_ns = time_of_tick(item.tick, hz_);
            return true;
        }
        return false;
    }

  private:
    std::vector<WordMeaning> words_;
    bool has_value_;
    double hz_;
    Unwrapper unwrap_;
};

class LevelEdges : public FromRows {
  public:
    LevelEdges(std::unique_ptr<Table> table, ItemKind kind, bool falling, const FileClock& clock)
        : FromRows(std::move(table)), kind_(kind), falling_(falling), unwrap_(clock) {}

    bool next(Item& item) override {
        constexpr double kMiddle = 0.5;
        while (rows_.next()) {
            if (std::isnan(rows_.number(1)) || rows_.integer(0) == kNoTime) continue;
            const std::int64_t tick = unwrap_(rows_.table(), rows_.row(), rows_.integer(0));
            const bool high = rows_.number(1) > kMiddle;
            const bool is_edge = known_ && high != high_ && high != falling_;
            known_ = true;
            high_ = high;
            if (!is_edge) continue;
            item = {tick, 0, kind_, Channel::load, 0.0};
            return true;
        }
        return false;
    }

  private:
    ItemKind kind_;
    bool falling_;
    Unwrapper unwrap_;
    bool known_ = false;
    bool high_ = false;
};

class Merged : public ItemStream {
  public:
    explicit Merged(std::vector<std::unique_ptr<ItemStream>> streams)
        : streams_(std::move(streams)), heads_(streams_.size()) {}

    bool next(Item& item) override {
        if (!started_)
            for (std::size_t i = 0; i < streams_.size(); ++i) heads_[i].there = streams_[i]->next(heads_[i].item);
        started_ = true;
        std::size_t first = streams_.size();
        for (std::size_t i = 0; i < streams_.size(); ++i)
            if (heads_[i].there && (first == streams_.size() || before(heads_[i].item, heads_[first].item))) first = i;
        if (first == streams_.size()) return false;
        item = heads_[first].item;
        heads_[first].there = streams_[first]->next(heads_[first].item);
        return true;
    }
    [[nodiscard]] double done() const override { return streams_.empty() ? 1.0 : streams_.front()->done(); }
    [[nodiscard]] std::vector<std::string> warnings() const override {
        std::vector<std::string> all;
        for (const auto& stream : streams_)
            for (const std::string& warning : stream->warnings()) all.push_back(warning);
        return all;
    }

  private:
    struct HeadItem {
        Item item{};
        bool there = false;
    };
    static bool before(const Item& a, const Item& b) noexcept {
        return a.tick != b.tick ? a.tick < b.tick : a.kind < b.kind;
    }
    std::vector<std::unique_ptr<ItemStream>> streams_;
    std::vector<HeadItem> heads_;
    bool started_ = false;
};

}  // namespace

std::unique_ptr<ItemStream> edge_list(std::unique_ptr<Table> table, ItemKind kind, const FileClock& clock) {
    return std::make_unique<EdgeList>(std::move(table), kind, clock);
}
std::unique_ptr<ItemStream> mixed_list(std::unique_ptr<Table> table, std::vector<WordMeaning> words, bool has_value,
                                       const FileClock& clock) {
    return std::make_unique<MixedList>(std::move(table), std::move(words), has_value, clock);
}
std::unique_ptr<ItemStream> level_edges(std::unique_ptr<Table> table, ItemKind kind, bool falling,
                                        const FileClock& clock) {
    return std::make_unique<LevelEdges>(std::move(table), kind, falling, clock);
}
std::unique_ptr<ItemStream> merged(std::vector<std::unique_ptr<ItemStream>> streams) {
    return std::make_unique<Merged>(std::move(streams));
}

}  // namespace kurbel::read
