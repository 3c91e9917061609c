#include "command/hash.hpp"

#include <sha2.h>

#include <array>

#include "kurbel/read/input_error.hpp"

namespace kurbel::command {

std::string sha256_of_file(const std::string& path) {
    std::array<char, SHA256_DIGEST_STRING_LENGTH> hex{};
    if (SHA256File(path.c_str(), hex.data()) == nullptr) throw read::InputError(path, 0, "cannot be read");
    return hex.data();
}

}  // namespace kurbel::command
