// One-dimensional NumPy arrays of int64 or float64 (format versions 1 to 3, little endian).
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace kurbel::read {

/// Values of a .npy file: the list that `is_integer` names is filled, the other is empty.
struct NpyArray {
    bool is_integer = false;
    std::vector<std::int64_t> integers;
    std::vector<double> numbers;
};

/// Reads a one-dimensional '<i8' or '<f8' array. Throws InputError for every other kind, and where the shape that the header
/// tells does not fit the size of the file (nothing is allocated by a shape).
[[nodiscard]] NpyArray read_npy(const std::string& path);

/// The bytes of a version 1.0 file.
[[nodiscard]] std::string npy_bytes(const std::vector<std::int64_t>& values);
[[nodiscard]] std::string npy_bytes(const std::vector<double>& values);

}  // namespace kurbel::read
