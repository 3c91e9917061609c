// A recording folder, written while it comes in.
#include <algorithm>
#include <array>
#include <charconv>
#include <fstream>
#include <optional>

#include "kurbel/read/input_error.hpp"
#include "read/config_toml.hpp"
#include "read/foreign/sink.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

/// A file that says so where it cannot be written.
class Output {
  public:
    explicit Output(const std::string& path) : path_(path), stream_(path, std::ios::binary | std::ios::trunc) {
        check();
    }

    void write(std::string_view bytes) { stream_.write(bytes.data(), static_cast<std::streamsize>(bytes.size())); }
    void write_at_start(std::string_view bytes) {
        stream_.seekp(0);
        write(bytes);
    }
    void close() {
        stream_.close();
        check();
    }

  private:
    void check() const {
        if (!stream_) throw InputError(path_, 0, "cannot be written");
    }
    std::string path_;
    std::ofstream stream_;
};

template <class T>
std::string number_text(T value) {
    std::array<char, 40> buffer{};
    return {buffer.data(), std::to_chars(buffer.data(), buffer.data() + buffer.size(), value).ptr};
}

/// A NumPy array of int64 whose length is told last. The header keeps its size: 128 bytes.
class ArrayFile {
  public:
    explicit ArrayFile(const std::string& path) : file_(path) { file_.write(header()); }

    void add(std::int64_t value) {
        std::array<char, 8> bytes{};
        for (std::size_t i = 0; i < bytes.size(); ++i)
            bytes[i] = static_cast<char>((static_cast<std::uint64_t>(value) >> (8 * i)) & 0xFFU);
        file_.write({bytes.data(), bytes.size()});
        ++count_;
    }
    void close() {
        file_.write_at_start(header());
        file_.close();
    }

  private:
    /// NumPy format version 1.0, padded to 128 bytes whatever the length is.
    [[nodiscard]] std::string header() const {
        constexpr std::size_t kSize = 128;
        constexpr std::size_t kFront = 10;
        std::string text = "{'descr': '<i8', 'fortran_order': False, 'shape': (" + std::to_string(count_) + ",), }";
        text.resize(kSize - kFront - 1, ' ');
        return std::string("\x93NUMPY\x01\x00", 8) + static_cast<char>(kSize - kFront) + '\0' + text + "\n";
    }
    Output file_;
    std::uint64_t count_ = 0;
};

class EdgeFiles {
  public:
    EdgeFiles(const std::string& folder, double hz, bool npy) : seconds_(hz == 1e9) {
        if (npy) {
            crank_.emplace(folder + "/crank.npy");
            cam_path_ = folder + "/cam.npy";
            return;
        }
        text_.emplace(folder + "/edges.csv");
        text_->write(seconds_ ? "time_s,signal\n" : "tick,signal\n");
    }
    void add(const Item& item) {
        const bool cam = item.kind == ItemKind::cam;
        if (crank_) {
            if (cam && !cam_) cam_.emplace(cam_path_);
            (cam ? *cam_ : *crank_).add(item.tick);
            return;
        }
        line_.clear();
        if (seconds_)
            append_seconds(line_, item.tick);
        else
            line_ += number_text(item.tick);
        line_ += cam ? ",cam\n" : ",crank\n";
        text_->write(line_);
    }
    void close() {
        if (text_) text_->close();
        if (crank_) crank_->close();
        if (cam_) cam_->close();
    }
    [[nodiscard]] bool in_seconds() const noexcept { return text_ && seconds_; }

  private:
    bool seconds_;
    std::optional<Output> text_;
    std::optional<ArrayFile> crank_;
    std::optional<ArrayFile> cam_;
    std::string cam_path_;
    std::string line_;
};

/// channels.csv: a line a time; a second value of one channel at one time begins a line of its own.
class ChannelFile {
  public:
    ChannelFile(const std::string& path, const std::vector<Channel>& channels)
        : channels_(channels), values_(channels.size()), file_(path) {
        std::string head = "time_s";
        for (const Channel channel : channels_) head += "," + channel_name(channel);
        file_.write(head + "\n");
    }
    void add(const Item& item) {
        const auto place =
            static_cast<std::size_t>(std::find(channels_.begin(), channels_.end(), item.channel) - channels_.begin());
        if (waiting_ && (item.time_ns != time_ns_ || !values_[place].empty())) flush();
        time_ns_ = item.time_ns;
        values_[place] = number_text(item.value);
        waiting_ = true;
    }
    void close() {
        if (waiting_) flush();
        file_.close();
    }

  private:
    void flush() {
        std::string line;
        append_seconds(line, time_ns_);
        for (std::string& value : values_) {
            line += "," + value;
            value.clear();
        }
        file_.write(line + "\n");
        waiting_ = false;
    }
    std::vector<Channel> channels_;
    std::vector<std::string> values_;
    Output file_;
    std::int64_t time_ns_ = 0;
    bool waiting_ = false;
};

class FolderSink : public Sink {
  public:
    FolderSink(const std::string& folder, const Config& config, const std::vector<Channel>& channels, bool npy)
        : folder_(folder), config_(config), channels_(channels), edges_(folder, config.timer.hz, npy) {}

    void take(const Item& item) override {
        if (item.kind != ItemKind::channel) {
            edges_.add(item);
            return;
        }
        if (!channel_file_) channel_file_.emplace(folder_ + "/channels.csv", channels_);
        channel_file_->add(item);
    }
    void finish() override {
        edges_.close();
        if (channel_file_) channel_file_->close();
        Output description(folder_ + "/recording.toml");
        description.write("contract = 1\n\n" + to_toml(config_, !edges_.in_seconds()));
        description.close();
    }

  private:
    std::string folder_;
    Config config_;
    std::vector<Channel> channels_;
    EdgeFiles edges_;
    std::optional<ChannelFile> channel_file_;
};

}  // namespace

std::unique_ptr<Sink> folder_sink(const std::string& folder, const Config& config, const std::vector<Channel>& channels,
                                  bool npy) {
    return std::make_unique<FolderSink>(folder, config, channels, npy);
}

}  // namespace kurbel::read
