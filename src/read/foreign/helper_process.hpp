// A Python process that reads or writes what C++ has no small library for. It is a process of its own so that a damaged file
// can crash or fill only that one; what it says comes in frames, and one that falls silent is ended.
#pragma once

#include <sys/types.h>

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace kurbel::read {

/// One message: a letter and its bytes.
struct Frame {
    char kind = 0;
    std::string bytes;
};

class HelperProcess {
  public:
    /// Starts the readers with these words behind them; `path` is the file for messages. Throws InputError where there is no
    /// interpreter or no readers.
    HelperProcess(const std::string& path, const std::vector<std::string>& words);
    ~HelperProcess();
    HelperProcess(const HelperProcess&) = delete;
    HelperProcess& operator=(const HelperProcess&) = delete;

    /// The next frame. An error that the process reports ('E'), its death and its silence are thrown as InputError.
    [[nodiscard]] Frame receive();
    /// Sends a frame. Throws InputError where the process is gone.
    void send(char kind, std::string_view bytes);

  private:
    void read_exactly(char* target, std::size_t bytes);
    [[noreturn]] void fail_of_death();
    void end();

    std::string path_;
    int socket_ = -1;
    pid_t process_ = -1;
    int patience_ms_ = 0;
};

}  // namespace kurbel::read
