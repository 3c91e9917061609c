#include "command/progress.hpp"

#include <unistd.h>

#include <cstdio>
#include <utility>

namespace kurbel::command {

namespace {
constexpr std::chrono::milliseconds kFirst{500};  // short work needs no line at all
constexpr std::chrono::milliseconds kBetween{100};
}  // namespace

ProgressLine::ProgressLine(std::string what)
    : what_(std::move(what)),
      on_terminal_(::isatty(STDERR_FILENO) == 1),
      next_(std::chrono::steady_clock::now() + kFirst) {}

ProgressLine::~ProgressLine() { wipe(); }

void ProgressLine::wipe() {
    if (shown_) std::fputs("\r\033[K", stderr);
    shown_ = false;
}

void ProgressLine::tell(double share) {
    if (!on_terminal_ || std::chrono::steady_clock::now() < next_) return;
    next_ = std::chrono::steady_clock::now() + kBetween;
    shown_ = true;
    std::fprintf(stderr, "\r%s %3.0f %%", what_.c_str(), 100.0 * share);
    std::fflush(stderr);
}

}  // namespace kurbel::command
