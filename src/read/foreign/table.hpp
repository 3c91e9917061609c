// A foreign file as a table that is walked in blocks: the one shape that all readers give. Memory is bounded by the block,
// whatever the file's length.
#pragma once

#include <cstdint>
#include <limits>
#include <memory>
#include <string>
#include <vector>

#include "kurbel/read/mapping.hpp"

namespace kurbel::read {

inline constexpr std::size_t kBlockRows = 16384;
inline constexpr std::int64_t kNoTime =
    std::numeric_limits<std::int64_t>::min();  ///< a blank cell in a column of times

/// How times in a file become ticks of the recording's clock: value times factor times 10^digits, exactly where factor is 1.
struct TimeScale {
    int digits = 9;
    double factor = 1.0;
    double hz = 1e9;  ///< of the recording's clock
};

/// The scale from a unit ("ms", "ticks") to a clock of `hz`.
[[nodiscard]] TimeScale time_scale(const std::string& unit, double hz);

/// Whether ticks can be told from this value; the tick.
[[nodiscard]] bool to_tick(const TimeScale& scale, double value, std::int64_t& tick) noexcept;
[[nodiscard]] bool to_tick(const TimeScale& scale, std::int64_t value, std::int64_t& tick) noexcept;

enum class WishKind : std::uint8_t { number, time, word };

/// A column that somebody wants to read.
struct Wish {
    std::string column;  ///< empty, with kind time: the times that the file keeps beside its values (MDF, VCD)
    WishKind kind = WishKind::number;
    TimeScale scale{};               ///< time
    std::vector<std::string> words;  ///< word: those that are told apart; a row holds the place of its word, else -1
};

/// Some rows: for each wish the list that its kind fills. NaN and kNoTime stand for blank cells.
struct Block {
    std::size_t rows = 0;
    std::vector<std::vector<double>> numbers;         ///< by wish; kind number
    std::vector<std::vector<std::int64_t>> integers;  ///< by wish; kinds time and word

    void clear(std::size_t wishes);
};

class Table {
  public:
    Table() = default;
    Table(const Table&) = delete;
    Table& operator=(const Table&) = delete;
    virtual ~Table() = default;

    /// Fills `block` with the next rows; false at the end. Throws InputError.
    virtual bool next(Block& block) = 0;
    /// Share of the file that was read, 0 to 1.
    [[nodiscard]] virtual double done() const = 0;
    /// Complains about row `row` of the last block.
    [[noreturn]] virtual void fail(std::size_t row, const std::string& cause) const = 0;
    /// Samples a second where the file tells (WAV); else 0.
    [[nodiscard]] virtual double rate_hz() const { return 0.0; }
};

class HelpedFile;

/// What a file says of itself.
struct FileContents {
    std::shared_ptr<HelpedFile> helped;  ///< the process that reads it, where Python does: one for all its columns
    std::vector<std::string> columns;    ///< names of columns, channels or arrays
    std::string description;             ///< recording.toml, where kurbel wrote the file
    std::string time_unit;               ///< unit of the column `time` where the file tells it
};

/// "text", "wav", "vcd", "npz", "hdf5", "parquet" or "mdf", by first bytes, then by name. Throws InputError where `path` is no
/// regular file.
[[nodiscard]] std::string format_of(const std::string& path);

/// Opens a table of the columns that are wished for. mapping.format must be set; `contents` is what look_into told of the file. Throws
/// InputError, naming the columns that are there where one is not.
[[nodiscard]] std::unique_ptr<Table> open_table(const std::string& path, const Mapping& mapping,
                                                const FileContents& contents, std::vector<Wish> wishes);

/// Looks at a file without reading it. mapping.format must be set.
[[nodiscard]] FileContents look_into(const std::string& path, const Mapping& mapping);

/// Each reader's own.
[[nodiscard]] std::unique_ptr<Table> open_text(const std::string& path, const Mapping& mapping,
                                               std::vector<Wish> wishes);
[[nodiscard]] std::unique_ptr<Table> open_vcd(const std::string& path, std::vector<Wish> wishes);
[[nodiscard]] std::unique_ptr<Table> open_wav(const std::string& path, std::vector<Wish> wishes);
[[nodiscard]] std::unique_ptr<Table> open_helped(std::shared_ptr<HelpedFile> file, std::vector<Wish> wishes);
[[nodiscard]] FileContents look_into_text(const std::string& path, const Mapping& mapping);
[[nodiscard]] FileContents look_into_vcd(const std::string& path);
[[nodiscard]] FileContents look_into_wav(const std::string& path);
[[nodiscard]] FileContents look_into_helped(const std::string& path, const std::string& format);

/// Place of a column among `columns`, by name or as "#3"; throws InputError naming those that are there.
[[nodiscard]] std::size_t place_of(const std::string& path, const std::vector<std::string>& columns,
                                   const std::string& name);

}  // namespace kurbel::read
