// A line that tells how far long work is; on a terminal only.
#pragma once

#include <chrono>
#include <string>

namespace kurbel::command {

/// Writes "WHAT 42 %" to stderr where that is a terminal, at most ten times a second, and wipes it at the end.
class ProgressLine {
  public:
    explicit ProgressLine(std::string what);
    ~ProgressLine();
    ProgressLine(const ProgressLine&) = delete;
    ProgressLine& operator=(const ProgressLine&) = delete;

    /// `share` of the work is done, 0 to 1.
    void tell(double share);
    /// Takes the line away, before something else is written.
    void wipe();

  private:
    std::string what_;
    bool on_terminal_ = false;
    bool shown_ = false;
    std::chrono::steady_clock::time_point next_;
};

}  // namespace kurbel::command
