#include "read/foreign/line_reader.hpp"

#include <algorithm>
#include <cstring>

#include "kurbel/read/input_error.hpp"

namespace kurbel::read {

namespace {
constexpr std::size_t kMostLine = 1U << 20U;
constexpr std::size_t kBuffer = 2 * kMostLine;
}  // namespace

LineReader::LineReader(const std::string& path)
    : path_(path), stream_(path, std::ios::binary | std::ios::ate), buffer_(kBuffer) {
    size_ = stream_ ? static_cast<std::int64_t>(stream_.tellg()) : -1;
    stream_.seekg(0);
    if (size_ < 0 || !stream_) throw InputError(path_, 0, "cannot be read");
    refill();
    const std::string_view head(buffer_.data(), std::min<std::size_t>(until_, 4));
    if (head.substr(0, 3) == "\xEF\xBB\xBF") from_ = 3;
    if (head.substr(0, 2) == "\xFF\xFE" || head.substr(0, 2) == "\xFE\xFF")
        throw InputError(path_, 0, "is UTF-16 text; save it as UTF-8");
}

bool LineReader::refill() {
    std::memmove(buffer_.data(), buffer_.data() + from_, until_ - from_);
    until_ -= from_;
    from_ = 0;
    stream_.read(buffer_.data() + until_, static_cast<std::streamsize>(buffer_.size() - until_));
    const auto got = static_cast<std::size_t>(std::max<std::streamsize>(stream_.gcount(), 0));
    if (stream_.bad()) throw InputError(path_, 0, "cannot be read to its end");
    until_ += got;
    read_ += static_cast<std::int64_t>(got);
    return got > 0;
}

bool LineReader::next(std::string_view& line) {
    const auto find_end = [&](std::size_t from) {
        return static_cast<const char*>(std::memchr(buffer_.data() + from, '\n', until_ - from));
    };
    const char* end = find_end(from_);
    while (end == nullptr) {
        const std::size_t seen = until_ - from_;
        if (seen > kMostLine)
            throw InputError(path_, number_ + 1, "is a line of more than 1 MiB: this is no table of numbers");
        if (!refill()) break;
        end = find_end(from_ + seen);
    }
    if (end == nullptr && from_ == until_) return false;
    const char* begin = buffer_.data() + from_;
    const char* stop = end == nullptr ? buffer_.data() + until_ : end;
    line = {begin, static_cast<std::size_t>(stop - begin)};
    ended_ = end != nullptr;
    from_ = static_cast<std::size_t>(stop - buffer_.data()) + (ended_ ? 1 : 0);
    ++number_;
    check(line);
    while (!line.empty() && line.back() == '\r') line.remove_suffix(1);
    if (number_ == 1 && std::count(line.begin(), line.end(), '\r') > 1)
        throw InputError(path_, 0, "has lines that end in carriage returns alone; save it with line feeds");
    return true;
}

void LineReader::check(std::string_view line) const {
    if (line.size() > kMostLine)
        throw InputError(path_, number_, "is a line of more than 1 MiB: this is no table of numbers");
    if (!line.empty() && std::memchr(line.data(), 0, line.size()) != nullptr)
        throw InputError(path_, number_,
                         "holds zero bytes: this is no text, or text in UTF-16 or UTF-32; save it as UTF-8");
}

double LineReader::done() const noexcept {
    return size_ == 0
               ? 1.0
               : static_cast<double>(read_ - static_cast<std::int64_t>(until_ - from_)) / static_cast<double>(size_);
}

}  // namespace kurbel::read
