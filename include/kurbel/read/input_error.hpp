// What the file layer throws: the message names file, line and cause, ready for a person.
#pragma once

#include <stdexcept>
#include <string>

namespace kurbel::read {

/// A file or folder that cannot be used. what() reads "FILE:LINE: cause" (no line: "FILE: cause").
class InputError : public std::runtime_error {
  public:
    InputError(const std::string& file, long line, const std::string& cause)
        : std::runtime_error(line > 0 ? file + ":" + std::to_string(line) + ": " + cause : file + ": " + cause) {}
};

}  // namespace kurbel::read
