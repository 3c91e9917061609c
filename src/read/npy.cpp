// Format: NumPy Enhancement Proposal 1 and the numpy.lib.format documentation: magic "\x93NUMPY", version (2 bytes), header
// length (2 bytes little endian in version 1, else 4), header: a Python dict with 'descr', 'fortran_order' and 'shape'.
#include "read/npy.hpp"

#include <bit>
#include <charconv>
#include <cstring>
#include <string_view>

#include "kurbel/read/input_error.hpp"
#include "read/csv.hpp"

namespace kurbel::read {

namespace {

static_assert(std::endian::native == std::endian::little, "arrays are copied as they lie in the file");

constexpr std::string_view kMagic = "\x93NUMPY";

std::size_t little_endian(std::string_view bytes) noexcept {
    std::size_t value = 0;
    for (std::size_t i = bytes.size(); i-- > 0;) value = (value << 8) | static_cast<unsigned char>(bytes[i]);
    return value;
}

struct NpyParts {
    std::string_view header;
    std::string_view data;
};

NpyParts split_file(const std::string& path, std::string_view bytes) {
    if (bytes.size() < 10 || bytes.substr(0, 6) != kMagic) throw InputError(path, 0, "is no NumPy array file");
    const int version = static_cast<unsigned char>(bytes[6]);
    if (version < 1 || version > 3)
        throw InputError(path, 0, "has NumPy format version " + std::to_string(version) + "; 1 to 3 are known");
    const std::size_t width = version == 1 ? 2 : 4;
    const std::size_t start = 8 + width;
    const std::size_t length = bytes.size() < start ? 0 : little_endian(bytes.substr(8, width));
    if (bytes.size() < start || length > bytes.size() - start) throw InputError(path, 0, "is cut off in its header");
    return {bytes.substr(start, length), bytes.substr(start + length)};
}

/// Text behind 'key': in the header, with spaces removed from its front; empty where the key is absent.
std::string_view behind_key(std::string_view header, std::string_view key) noexcept {
    const std::size_t at = header.find(std::string(1, '\'').append(key).append(1, '\''));
    if (at == std::string_view::npos) return {};
    header.remove_prefix(at + key.size() + 2);
    const std::size_t value = header.find_first_not_of(" :");
    return value == std::string_view::npos ? std::string_view() : header.substr(value);
}

/// The only number of a shape "(123,)"; -1 for every other shape.
long long length_of(std::string_view shape) noexcept {
    long long length = -1;
    if (shape.empty() || shape[0] != '(') return -1;
    const auto [end, error] = std::from_chars(shape.data() + 1, shape.data() + shape.size(), length);
    const std::string_view tail = shape.substr(static_cast<std::size_t>(end - shape.data()));
    if (error != std::errc{} || tail.empty() || tail[0] != ',') return -1;
    const std::size_t close = tail.find_first_not_of(" ,");
    return close != std::string_view::npos && tail[close] == ')' ? length : -1;
}

template <class T>
std::vector<T> copy_values(std::string_view data) {
    std::vector<T> values(data.size() / sizeof(T));
    if (!values.empty()) std::memcpy(values.data(), data.data(), data.size());
    return values;
}

std::string with_header(const char* type, std::size_t count, const void* data) {
    std::string header =
        std::string("{'descr': '") + type + "', 'fortran_order': False, 'shape': (" + std::to_string(count) + ",), }";
    const std::size_t unpadded = kMagic.size() + 4 + header.size() + 1;
    header.append((64 - unpadded % 64) % 64, ' ');
    header += '\n';
    std::string bytes(kMagic);
    bytes += {'\1', '\0', static_cast<char>(header.size() & 0xFF), static_cast<char>(header.size() >> 8)};
    bytes += header;
    if (count > 0) bytes.append(static_cast<const char*>(data), count * 8);
    return bytes;
}

}  // namespace

NpyArray read_npy(const std::string& path) {
    const std::string bytes = read_file(path);
    const NpyParts parts = split_file(path, bytes);
    const std::string_view type = behind_key(parts.header, "descr").substr(0, 5);
    NpyArray array;
    array.is_integer = type == "'<i8'";
    if (!array.is_integer && type != "'<f8'")
        throw InputError(path, 0, "must hold int64 ticks or float64 seconds (little endian)");
    const long long length = length_of(behind_key(parts.header, "shape"));
    if (length < 0) throw InputError(path, 0, "must be one-dimensional");
    if (parts.data.size() % 8 != 0 || parts.data.size() / 8 != static_cast<std::size_t>(length))
        throw InputError(path, 0,
                         "tells of " + std::to_string(length) + " values but holds " +
                             std::to_string(parts.data.size()) + " bytes of them");
    if (array.is_integer)
        array.integers = copy_values<std::int64_t>(parts.data);
    else
        array.numbers = copy_values<double>(parts.data);
    return array;
}

std::string npy_bytes(const std::vector<std::int64_t>& values) {
    return with_header("<i8", values.size(), values.data());
}
std::string npy_bytes(const std::vector<double>& values) { return with_header("<f8", values.size(), values.data()); }

}  // namespace kurbel::read
