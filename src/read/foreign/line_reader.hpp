// Lines of a text file of any length, through a buffer of fixed size.
#pragma once

#include <cstdint>
#include <fstream>
#include <string>
#include <string_view>
#include <vector>

namespace kurbel::read {

class LineReader {
  public:
    /// Throws InputError where the file cannot be read, or is text in another encoding than UTF-8 or Latin-1.
    explicit LineReader(const std::string& path);

    /// The next line without its end; false at the end of the file. The view lives until the next call. Throws InputError for
    /// a line of more than 1 MiB and for zero bytes: neither stands in a table of numbers.
    bool next(std::string_view& line);
    /// Number of the line that next() gave, from 1.
    [[nodiscard]] long number() const noexcept { return number_; }
    /// Whether the line that next() gave had an end, or the file just stopped there.
    [[nodiscard]] bool ended() const noexcept { return ended_; }
    [[nodiscard]] double done() const noexcept;
    [[nodiscard]] const std::string& path() const noexcept { return path_; }

  private:
    bool refill();
    void check(std::string_view line) const;

    std::string path_;
    std::ifstream stream_;
    std::vector<char> buffer_;
    std::size_t from_ = 0;
    std::size_t until_ = 0;
    std::int64_t read_ = 0;
    std::int64_t size_ = 0;
    long number_ = 0;
    bool ended_ = true;
};

}  // namespace kurbel::read
