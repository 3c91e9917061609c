#include "read/foreign/helper_process.hpp"

#include <dlfcn.h>
#include <fcntl.h>
#include <poll.h>
#include <spawn.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <charconv>
#include <csignal>
#include <cstdlib>
#include <cstring>
#include <filesystem>

#include "kurbel/read/input_error.hpp"

namespace kurbel::read {

namespace {

namespace fs = std::filesystem;

constexpr int kPatienceMs = 60000;
constexpr std::uint64_t kMostFrame = std::uint64_t{1} << 28;

std::string environment(const char* name) {
    const char* value = std::getenv(name);
    return value == nullptr ? "" : value;
}

/// The one that was named, that of the virtual environment in force, Debian's own (another one earlier on PATH may not see
/// Debian's packages), any.
std::string interpreter() {
    if (const std::string named = environment("KURBEL_PYTHON"); !named.empty()) return named;
    if (const std::string active = environment("VIRTUAL_ENV"); !active.empty()) return active + "/bin/python3";
    return fs::exists("/usr/bin/python3") ? "/usr/bin/python3" : "python3";
}

/// Where the program or module that this code is part of lies.
fs::path own_file() {
    Dl_info info{};
    const void* place = reinterpret_cast<const void*>(&interpreter);
    std::error_code error;
    if (dladdr(place, &info) != 0 && info.dli_fname != nullptr && std::strchr(info.dli_fname, '/') != nullptr) {
        const fs::path file = fs::canonical(info.dli_fname, error);
        if (!error) return file;
    }
    return fs::read_symlink("/proc/self/exe", error);
}

/// The folder of the readers: beside the Python module, or in libexec beside the program's folder.
fs::path readers(const std::string& path) {
    if (const std::string named = environment("KURBEL_READERS"); !named.empty()) return named;
    const fs::path folder = own_file().parent_path();
    std::error_code error;
    const fs::path program = fs::read_symlink("/proc/self/exe", error).parent_path();
    for (const fs::path& candidate : {folder / "readers", folder.parent_path() / "libexec" / "kurbel" / "readers",
                                      program.parent_path() / "libexec" / "kurbel" / "readers"})
        if (fs::exists(candidate / "__main__.py", error)) return candidate;
    throw InputError(
        path, 0,
        "this kind of file is read by Python, but kurbel's Python readers are not installed beside the program "
        "(libexec/kurbel/readers); KURBEL_READERS=FOLDER can name them");
}

int patience_ms() {
    const std::string text = environment("KURBEL_READER_PATIENCE_S");
    int seconds = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), seconds);
    constexpr int kMostSeconds = 86400;
    return error == std::errc{} && seconds > 0 && seconds <= kMostSeconds ? 1000 * seconds : kPatienceMs;
}

std::uint64_t little_endian(const char* bytes) {
    std::uint64_t value = 0;
    for (int i = 7; i >= 0; --i) value = (value << 8U) | static_cast<unsigned char>(bytes[i]);
    return value;
}

}  // namespace

HelperProcess::HelperProcess(const std::string& path, const std::vector<std::string>& words)
    : path_(path), patience_ms_(patience_ms()) {
    std::vector<std::string> all{interpreter(), "-B", readers(path).string()};
    all.insert(all.end(), words.begin(), words.end());
    std::vector<char*> arguments;
    for (std::string& word : all) arguments.push_back(word.data());
    arguments.push_back(nullptr);

    int ends[2] = {-1, -1};
    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends) != 0)
        throw InputError(path, 0, "no reader could be started");
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, ends[1], STDIN_FILENO);
    posix_spawn_file_actions_adddup2(&actions, ends[1], STDOUT_FILENO);
    posix_spawn_file_actions_addopen(&actions, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
    const int failed = posix_spawnp(&process_, arguments[0], &actions, nullptr, arguments.data(), environ);
    posix_spawn_file_actions_destroy(&actions);
    ::close(ends[1]);
    socket_ = ends[0];
    if (failed == 0) return;
    process_ = -1;
    end();
    throw InputError(path, 0,
                     "this kind of file is read by Python, but " + all[0] + " cannot be started (" +
                         std::strerror(failed) + "); KURBEL_PYTHON=PROGRAM can name a Python 3 with NumPy");
}

HelperProcess::~HelperProcess() { end(); }

void HelperProcess::end() {
    if (socket_ >= 0) ::close(socket_);
    socket_ = -1;
    if (process_ <= 0) return;
    ::kill(process_, SIGKILL);
    while (::waitpid(process_, nullptr, 0) < 0 && errno == EINTR) continue;
    process_ = -1;
}

void HelperProcess::fail_of_death() {
    int status = 0;
    while (::waitpid(process_, &status, 0) < 0 && errno == EINTR) continue;
    process_ = -1;
    const std::string how = WIFSIGNALED(status) ? "crashed (signal " + std::to_string(WTERMSIG(status)) + ")"
                                                : "ended with status " + std::to_string(WEXITSTATUS(status));
    throw InputError(
        path_, 0, "its reader " + how + " without an answer: the file is damaged, or Python or NumPy is not installed");
}

void HelperProcess::read_exactly(char* target, std::size_t bytes) {
    while (bytes > 0) {
        pollfd waiting{socket_, POLLIN, 0};
        const int ready = ::poll(&waiting, 1, patience_ms_);
        if (ready < 0 && errno == EINTR) continue;
        if (ready == 0)
            throw InputError(
                path_, 0,
                "its reader said nothing for " + std::to_string(patience_ms_ / 1000) +
                    " s and was ended: the file is damaged, or KURBEL_READER_PATIENCE_S=SECONDS must be raised");
        const ssize_t got = ::read(socket_, target, bytes);
        if (got < 0 && errno == EINTR) continue;
        if (got <= 0) fail_of_death();
        target += got;
        bytes -= static_cast<std::size_t>(got);
    }
}

Frame HelperProcess::receive() {
    char head[9];
    read_exactly(head, sizeof head);
    const std::uint64_t size = little_endian(head + 1);
    // All kinds of frame are capitals: what else comes first tells at once, even of a reader that has gone since.
    const bool is_kind = head[0] >= 'A' && head[0] <= 'Z';
    if (size > kMostFrame || !is_kind) throw InputError(path_, 0, "its reader answered nonsense");
    Frame frame{head[0], std::string(size, '\0')};
    read_exactly(frame.bytes.data(), frame.bytes.size());
    if (frame.kind == 'E') throw InputError(path_, 0, frame.bytes);
    return frame;
}

void HelperProcess::send(char kind, std::string_view bytes) {
    std::string message(1, kind);
    for (std::size_t i = 0; i < 8; ++i) message += static_cast<char>((bytes.size() >> (8 * i)) & 0xFFU);
    message += bytes;
    for (std::size_t sent = 0; sent < message.size();) {
        const ssize_t step = ::send(socket_, message.data() + sent, message.size() - sent, MSG_NOSIGNAL);
        if (step < 0 && errno == EINTR) continue;
        if (step < 0) {  // it may have said why before it went
            (void)receive();
            fail_of_death();
        }
        sent += static_cast<std::size_t>(step);
    }
}

}  // namespace kurbel::read
