// Tables that a Python reader gives: NumPy archives, HDF5, Parquet, MDF.
#include <cmath>
#include <cstring>

#include "kurbel/read/input_error.hpp"
#include "read/foreign/helper_process.hpp"
#include "read/foreign/table.hpp"

namespace kurbel::read {

namespace {

/// "n:NAME", "t:NAME", "w:NAME" and the words behind it, parted by the unit separator of ASCII.
std::string word_of(const Wish& wish) {
    std::string word = wish.kind == WishKind::number ? "n:" : wish.kind == WishKind::time ? "t:" : "w:";
    word += wish.column;
    if (wish.kind == WishKind::word)
        for (const std::string& known : wish.words) word += "\x1f" + known;
    return word;
}

std::vector<std::string> request(const std::string& path, const std::string& format, const std::vector<Wish>& wishes) {
    std::vector<std::string> words{"read", format, path};
    for (const Wish& wish : wishes) words.push_back(word_of(wish));
    return words;
}

template <class T>
void copy(const char* from, std::size_t rows, std::vector<T>& to) {
    to.resize(rows);
    std::memcpy(to.data(), from, rows * sizeof(T));
}

class HelpedTable : public Table {
  public:
    HelpedTable(const std::string& path, const std::string& format, std::vector<Wish> wishes)
        : path_(path), wishes_(std::move(wishes)), process_(path, request(path, format, wishes_)) {
        Frame frame = process_.receive();
        if (frame.kind != 'H' || frame.bytes.size() != wishes_.size())
            throw InputError(path_, 0, "its reader answered nonsense");
        types_ = frame.bytes;
    }

    bool next(Block& block) override {
        block.clear(wishes_.size());
        first_row_ += rows_;
        rows_ = 0;
        while (!ended_) {
            const Frame frame = process_.receive();
            if (frame.kind == 'Z') ended_ = true;
            if (frame.kind == 'P' && frame.bytes.size() == sizeof done_)
                std::memcpy(&done_, frame.bytes.data(), sizeof done_);
            if (frame.kind != 'B') continue;
            take(frame.bytes, block);
            return true;
        }
        return false;
    }
    [[nodiscard]] double done() const override { return done_; }
    [[noreturn]] void fail(std::size_t row, const std::string& cause) const override {
        throw InputError(path_, 0, "value " + std::to_string(first_row_ + row) + " (counted from 0): " + cause);
    }

  private:
    void take(const std::string& bytes, Block& block) {
        std::uint64_t rows = 0;
        if (bytes.size() >= sizeof rows) std::memcpy(&rows, bytes.data(), sizeof rows);
        if (bytes.size() < sizeof rows || bytes.size() != sizeof rows + rows * 8 * wishes_.size())
            throw InputError(path_, 0, "its reader answered nonsense");
        rows_ = block.rows = rows;
        for (std::size_t i = 0; i < wishes_.size(); ++i) {
            const char* from = bytes.data() + sizeof rows + rows * 8 * i;
            const bool whole = types_[i] == 'i';
            if (whole)
                copy(from, rows, block.integers[i]);
            else
                copy(from, rows, block.numbers[i]);
            if (wishes_[i].kind == WishKind::time) make_ticks(i, whole, block);
            if (wishes_[i].kind == WishKind::number && whole)
                block.numbers[i].assign(block.integers[i].begin(), block.integers[i].end());
        }
    }

    void make_ticks(std::size_t i, bool whole, Block& block) {
        auto& ticks = block.integers[i];
        ticks.resize(block.rows);
        for (std::size_t row = 0; row < block.rows; ++row) {
            if (!whole && std::isnan(block.numbers[i][row])) {
                ticks[row] = kNoTime;
                continue;
            }
            const bool fits = whole ? to_tick(wishes_[i].scale, ticks[row], ticks[row])
                                    : to_tick(wishes_[i].scale, block.numbers[i][row], ticks[row]);
            if (!fits) fail(row, "is no time within 146 years of zero");
        }
    }

    std::string path_;
    std::vector<Wish> wishes_;
    HelperProcess process_;
    std::string types_;
    std::size_t first_row_ = 0;
    std::size_t rows_ = 0;
    double done_ = 0.0;
    bool ended_ = false;
};

}  // namespace

std::unique_ptr<Table> open_helped(const std::string& path, const std::string& format, std::vector<Wish> wishes) {
    return std::make_unique<HelpedTable>(path, format, std::move(wishes));
}

FileContents look_into_helped(const std::string& path, const std::string& format) {
    HelperProcess process(path, {"look", format, path});
    FileContents contents;
    for (;;) {
        Frame frame = process.receive();
        if (frame.kind == 'Z') return contents;
        if (frame.kind == 'C') contents.columns.push_back(std::move(frame.bytes));
        if (frame.kind == 'D') contents.description = std::move(frame.bytes);
        if (frame.kind == 'U') contents.time_unit = std::move(frame.bytes);
        if (std::strchr("CDU", frame.kind) == nullptr || frame.kind == 0)
            throw InputError(path, 0, "its reader answered nonsense");
    }
}

}  // namespace kurbel::read
