// SHA-256 of files.
#pragma once

#include <string>

namespace kurbel::command {

/// SHA-256 (FIPS 180-4) of a file's bytes in small hexadecimal letters; throws read::InputError where it cannot be read.
[[nodiscard]] std::string sha256_of_file(const std::string& path);

}  // namespace kurbel::command
