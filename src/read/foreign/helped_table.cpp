// Tables that a Python reader gives: NumPy archives, HDF5, Parquet, MDF. readers/frames.py tells what is asked and answered.
#include <cmath>
#include <cstring>

#include "kurbel/read/input_error.hpp"
#include "read/foreign/helper_process.hpp"
#include "read/foreign/table.hpp"

namespace kurbel::read {

/// The process that reads one file.
class HelpedFile {
  public:
    HelpedFile(const std::string& path, const std::string& format)
        : path_(path), process_(path, {"read", format, path}) {}

    [[nodiscard]] const std::string& path() const { return path_; }

    FileContents look() {
        process_.send('L', {});
        FileContents contents;
        for (;;) {
            Frame frame = process_.receive();
            if (frame.kind == 'Z') return contents;
            if (frame.kind == 'C') contents.columns.push_back(std::move(frame.bytes));
            if (frame.kind == 'D') contents.description = std::move(frame.bytes);
            if (frame.kind == 'U') contents.time_unit = std::move(frame.bytes);
            if (std::strchr("CDU", frame.kind) == nullptr || frame.kind == 0) refuse_nonsense();
        }
    }
    /// Its number, by which blocks are asked for; `types` is given a letter a wish.
    std::uint64_t open(std::string_view wishes, std::string& types) {
        process_.send('O', wishes);
        Frame frame = process_.receive();
        if (frame.kind != 'H') refuse_nonsense();
        types = std::move(frame.bytes);
        return opened_++;
    }
    /// The next block, and the share of the file that was read with it; false behind the last.
    bool next(std::uint64_t number, std::string& block, double& done) {
        std::string bytes;
        for (unsigned place = 0; place < 8; ++place) bytes += static_cast<char>((number >> (8U * place)) & 0xFFU);
        process_.send('N', bytes);
        for (;;) {
            Frame frame = process_.receive();
            if (frame.kind == 'Z') return false;
            if (frame.kind == 'P' && frame.bytes.size() == sizeof done) {
                std::memcpy(&done, frame.bytes.data(), sizeof done);
                continue;
            }
            if (frame.kind != 'B') refuse_nonsense();
            block = std::move(frame.bytes);
            return true;
        }
    }
    [[noreturn]] void refuse_nonsense() const { throw InputError(path_, 0, "its reader answered nonsense"); }

  private:
    std::string path_;
    HelperProcess process_;
    std::uint64_t opened_ = 0;
};

namespace {

/// "n:NAME", "t:NAME", "w:NAME" and the words behind it, parted by the unit separator of ASCII.
std::string word_of(const Wish& wish) {
    std::string word = wish.kind == WishKind::number ? "n:" : wish.kind == WishKind::time ? "t:" : "w:";
    word += wish.column;
    if (wish.kind == WishKind::word)
        for (const std::string& known : wish.words) word += "\x1f" + known;
    return word;
}

template <class T>
void copy(const char* from, std::size_t rows, std::vector<T>& to) {
    to.resize(rows);
    std::memcpy(to.data(), from, rows * sizeof(T));
}

class HelpedTable : public Table {
  public:
    HelpedTable(std::shared_ptr<HelpedFile> file, std::vector<Wish> wishes)
        : file_(std::move(file)), wishes_(std::move(wishes)) {
        std::string words;
        for (const Wish& wish : wishes_) words += (words.empty() ? "" : "\x1e") + word_of(wish);
        number_ = file_->open(words, types_);
        if (types_.size() != wishes_.size()) file_->refuse_nonsense();
    }

    bool next(Block& block) override {
        block.clear(wishes_.size());
        first_row_ += rows_;
        rows_ = 0;
        ended_ = ended_ || !file_->next(number_, bytes_, done_);
        if (!ended_) take(bytes_, block);
        return !ended_;
    }
    [[nodiscard]] double done() const override { return done_; }
    [[noreturn]] void fail(std::size_t row, const std::string& cause) const override {
        throw InputError(file_->path(), 0, "value " + std::to_string(first_row_ + row) + " (counted from 0): " + cause);
    }

  private:
    void take(const std::string& bytes, Block& block) {
        std::uint64_t rows = 0;
        if (bytes.size() >= sizeof rows) std::memcpy(&rows, bytes.data(), sizeof rows);
        if (bytes.size() < sizeof rows || bytes.size() != sizeof rows + rows * 8 * wishes_.size())
            file_->refuse_nonsense();
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

    std::shared_ptr<HelpedFile> file_;
    std::vector<Wish> wishes_;
    std::uint64_t number_ = 0;
    std::string types_;
    std::string bytes_;
    std::size_t first_row_ = 0;
    std::size_t rows_ = 0;
    double done_ = 0.0;
    bool ended_ = false;
};

}  // namespace

std::unique_ptr<Table> open_helped(std::shared_ptr<HelpedFile> file, std::vector<Wish> wishes) {
    return std::make_unique<HelpedTable>(std::move(file), std::move(wishes));
}

FileContents look_into_helped(const std::string& path, const std::string& format) {
    const auto file = std::make_shared<HelpedFile>(path, format);
    FileContents contents = file->look();
    contents.helped = file;
    return contents;
}

}  // namespace kurbel::read
