// Sound files: a channel of each sensor. libsndfile reads them; it is found at run time, so that nobody needs it who has none.
#include <dlfcn.h>

#include <algorithm>
#include <array>
#include <filesystem>
#include <fstream>
#include <string_view>

#include "kurbel/read/input_error.hpp"
#include "read/foreign/table.hpp"

#if __has_include(<sndfile.h>)
#include <sndfile.h>
#define KURBEL_HAS_SNDFILE 1
#endif

namespace kurbel::read {

namespace {

#ifdef KURBEL_HAS_SNDFILE

/// The few functions of libsndfile that are used.
struct Library {
    decltype(&sf_open) open = nullptr;
    decltype(&sf_close) close = nullptr;
    decltype(&sf_readf_double) read = nullptr;
    decltype(&sf_strerror) error = nullptr;

    explicit Library(const std::string& path) {
        void* handle = dlopen("libsndfile.so.1", RTLD_NOW | RTLD_LOCAL);  // stays loaded, as it may have been before
        if (handle == nullptr)
            throw InputError(path, 0, "reading sound files needs libsndfile: apt-get install libsndfile1");
        load(handle, "sf_open", open);
        load(handle, "sf_close", close);
        load(handle, "sf_readf_double", read);
        load(handle, "sf_strerror", error);
        if (open == nullptr || close == nullptr || read == nullptr || error == nullptr)
            throw InputError(path, 0, "the installed libsndfile lacks a function that reading needs");
    }

  private:
    template <class Function>
    static void load(void* handle, const char* name, Function& function) {
        function = reinterpret_cast<Function>(dlsym(handle, name));
    }
};

std::uint32_t word_at(std::string_view bytes, std::size_t at) {
    std::uint32_t value = 0;
    for (std::size_t i = 4; i-- > 0;) value = (value << 8U) | static_cast<unsigned char>(bytes[at + i]);
    return value;
}

/// A plain WAV file whose data chunk tells of more than the file holds was cut off; libsndfile would read what is left in
/// silence. 0 and all ones are what recorders write that did not come to the end: those are taken as they are.
void refuse_cut_off(const std::string& path) {
    std::ifstream stream(path, std::ios::binary);
    std::array<char, 12> head{};
    if (!stream.read(head.data(), head.size()) || std::string_view(head.data(), 4) != "RIFF") return;
    const auto size = static_cast<std::uint64_t>(std::filesystem::file_size(path));
    std::uint64_t at = 12;
    constexpr int kMostChunks = 1000;
    for (int chunk = 0; chunk < kMostChunks && at + 8 <= size; ++chunk) {
        std::array<char, 8> name{};
        stream.seekg(static_cast<std::streamoff>(at));
        if (!stream.read(name.data(), name.size())) return;
        const std::uint32_t length = word_at({name.data(), 8}, 4);
        at += 8;
        if (std::string_view(name.data(), 4) == "data") {
            if (length != 0 && length != 0xFFFFFFFFU && length > size - at)
                throw InputError(path, 0,
                                 "is cut off: its header tells of " + std::to_string(length) +
                                     " bytes of samples, and " + std::to_string(size - at) + " are there");
            return;
        }
        at += length + (length & 1U);
    }
}

class WavTable : public Table {
  public:
    WavTable(const std::string& path, std::vector<Wish> wishes)
        : path_(path), wishes_(std::move(wishes)), library_(path) {
        refuse_cut_off(path);
        file_ = library_.open(path.c_str(), SFM_READ, &info_);
        if (file_ == nullptr)
            throw InputError(path, 0,
                             std::string("is no sound file that libsndfile can read: ") + library_.error(nullptr));
        try {
            start();
        } catch (...) {
            library_.close(file_);
            throw;
        }
    }
    ~WavTable() override { library_.close(file_); }
    WavTable(const WavTable&) = delete;
    WavTable& operator=(const WavTable&) = delete;

    [[nodiscard]] static std::vector<std::string> columns(int channels) {
        std::vector<std::string> names;
        for (int i = 1; i <= channels; ++i) names.push_back("#" + std::to_string(i));
        return names;
    }

    bool next(Block& block) override {
        block.clear(wishes_.size());
        const auto channels = static_cast<std::size_t>(info_.channels);
        const sf_count_t got = library_.read(file_, buffer_.data(), static_cast<sf_count_t>(buffer_.size() / channels));
        if (got <= 0) return false;
        block.rows = static_cast<std::size_t>(got);
        for (std::size_t i = 0; i < wishes_.size(); ++i) {
            block.numbers[i].resize(block.rows);
            for (std::size_t row = 0; row < block.rows; ++row)
                block.numbers[i][row] = buffer_[row * channels + places_[i]];
        }
        frames_ += got;
        return true;
    }
    [[nodiscard]] double done() const override {
        return info_.frames > 0 ? static_cast<double>(frames_) / static_cast<double>(info_.frames) : 1.0;
    }
    [[nodiscard]] double rate_hz() const override { return static_cast<double>(info_.samplerate); }
    [[nodiscard]] int channels() const { return info_.channels; }
    [[noreturn]] void fail(std::size_t row, const std::string& cause) const override {
        throw InputError(path_, 0, "sample " + std::to_string(frames_ + static_cast<sf_count_t>(row)) + ": " + cause);
    }

  private:
    void start() {
        if (info_.channels < 1 || info_.channels > 1024 || info_.samplerate < 1)
            throw InputError(path_, 0, "tells of no channels or no sampling rate");
        for (const Wish& wish : wishes_) {
            if (wish.kind != WishKind::number) throw InputError(path_, 0, "is a sound file: it holds waveforms alone");
            places_.push_back(place_of(path_, columns(info_.channels), wish.column));
        }
        const auto channels = static_cast<std::size_t>(info_.channels);
        buffer_.resize(std::max<std::size_t>(kBlockRows / channels, 16) * channels);
    }

    std::string path_;
    std::vector<Wish> wishes_;
    Library library_;
    SF_INFO info_{};
    SNDFILE* file_ = nullptr;
    std::vector<std::size_t> places_;
    std::vector<double> buffer_;
    sf_count_t frames_ = 0;
};

#endif

}  // namespace

#ifdef KURBEL_HAS_SNDFILE

std::unique_ptr<Table> open_wav(const std::string& path, std::vector<Wish> wishes) {
    return std::make_unique<WavTable>(path, std::move(wishes));
}

FileContents look_into_wav(const std::string& path) {
    const WavTable table(path, {});
    FileContents contents;
    contents.columns = WavTable::columns(table.channels());
    return contents;
}

#else

std::unique_ptr<Table> open_wav(const std::string& path, std::vector<Wish>) {
    throw InputError(path, 0, "this kurbel was built without sound files: install libsndfile1-dev and build it again");
}

FileContents look_into_wav(const std::string& path) {
    (void)open_wav(path, {});
    return {};
}

#endif

}  // namespace kurbel::read
