// The two ends joined: a foreign file into memory, into a recording folder, or into another file.
#include <unistd.h>

#include <bit>
#include <filesystem>

#include "kurbel/read/input_error.hpp"
#include "kurbel/read/output_folder.hpp"
#include "kurbel/read/recording_writer.hpp"
#include "kurbel/signal/waveform_types.hpp"
#include "read/foreign/sink.hpp"
#include "read/foreign/source.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

namespace fs = std::filesystem;

constexpr std::int64_t kTellEvery = 4096;
constexpr int kSwappedBit = std::countr_zero(static_cast<std::uint32_t>(signal::Finding::channels_swapped));

/// A file that appears under its name when it is whole, and not at all otherwise.
class OutputFile {
  public:
    explicit OutputFile(const std::string& path)
        : path_(path), temporary_(path + ".part-" + std::to_string(::getpid())) {
        std::error_code error;
        if (fs::is_directory(path_, error)) throw InputError(path, 0, "is a folder; a file is wanted");
        const fs::path parent = path_.parent_path();
        if (!parent.empty() && !fs::is_directory(parent, error))
            throw InputError(path, 0, "cannot be written: its folder does not exist");
    }
    ~OutputFile() {
        std::error_code error;
        fs::remove(temporary_, error);
    }
    OutputFile(const OutputFile&) = delete;
    OutputFile& operator=(const OutputFile&) = delete;

    [[nodiscard]] SinkFile sink() const { return {temporary_.string(), path_.string()}; }
    void commit() const {
        std::error_code error;
        fs::rename(temporary_, path_, error);
        if (error) throw InputError(path_.string(), 0, "cannot be written: " + error.message());
    }

  private:
    fs::path path_;
    fs::path temporary_;
};

/// A recording in memory as a stream of items.
class RecordingItems : public ItemStream {
  public:
    explicit RecordingItems(Recording recording) : recording_(std::move(recording)) {}

    bool next(Item& item) override {
        const bool edges_left = edge_ < recording_.tick.size();
        if (edges_left && !clock_known_) {
            const std::int64_t raw = recording_.tick[edge_];
            clock_ =
                edge_ == 0 ? raw : unwrap_tick(clock_, recording_.tick[edge_ - 1], raw, recording_.config.timer.bits);
            clock_known_ = true;
        }
        if (channel_ < recording_.channels.size() && (!edges_left || recording_.channels[channel_].tick <= clock_)) {
            const ChannelRow& row = recording_.channels[channel_++];
            item = {row.tick, time_of_tick(row.tick, recording_.config.timer.hz), ItemKind::channel, row.channel,
                    row.value};
            return true;
        }
        if (!edges_left) return false;
        const bool cam = recording_.signal[edge_] == static_cast<std::uint8_t>(Signal::cam);
        item = {clock_, 0, cam ? ItemKind::cam : ItemKind::crank, Channel::load, 0.0};
        ++edge_;
        clock_known_ = false;
        return true;
    }
    [[nodiscard]] double done() const override {
        return static_cast<double>(edge_) / static_cast<double>(recording_.tick.size());
    }

  private:
    Recording recording_;
    std::size_t edge_ = 0;
    std::size_t channel_ = 0;
    std::int64_t clock_ = 0;
    bool clock_known_ = false;
};

Source source_of_folder(Recording recording) {
    Source source;
    source.config = recording.config;
    source.config.timer.bits = 0;
    source.described = true;
    std::vector<bool> seen(static_cast<std::size_t>(Channel::fuel_cut_first) + kMaxCylinders, false);
    for (const ChannelRow& row : recording.channels) seen[static_cast<std::size_t>(row.channel)] = true;
    for (const Channel channel : all_channels())
        if (seen[static_cast<std::size_t>(channel)]) source.channels.push_back(channel);
    source.items = std::make_unique<RecordingItems>(std::move(recording));
    return source;
}

/// Runs the stream dry, counting.
class Pump {
  public:
    Pump(const std::string& path, Source& source, const Progress& progress)
        : path_(path), source_(source), progress_(progress) {}

    template <class Take>
    void run(Take&& take) {
        Item item;
        std::int64_t first = 0;
        std::int64_t last = 0;
        for (std::int64_t i = 0; source_.items->next(item); ++i) {
            if (progress_ && i % kTellEvery == 0) progress_(source_.items->done());
            take(item);
            if (item.kind == ItemKind::channel) {
                ++count_.channel_rows;
                continue;
            }
            if (count_.crank_edges + count_.cam_edges == 0) first = item.tick;
            last = item.tick;
            ++(item.kind == ItemKind::cam ? count_.cam_edges : count_.crank_edges);
        }
        count_.seconds = static_cast<double>(last - first) / source_.config.timer.hz;
        count_.warnings = source_.items->warnings();
        if (count_.crank_edges > 0) {
            if (signal::channels_swapped(count_.crank_edges, count_.cam_edges))
                count_.warnings.push_back("crank has " + std::to_string(count_.crank_edges) + " edges, cam " +
                                          std::to_string(count_.cam_edges) + ": " +
                                          signal::finding_advice(kSwappedBit));
            return;
        }
        std::string why;
        for (const std::string& warning : count_.warnings) why += "; " + warning;
        throw InputError(path_, 0, "holds no edges of the crank" + why);
    }
    [[nodiscard]] ConversionCount count() const { return count_; }

  private:
    std::string path_;
    Source& source_;
    const Progress& progress_;
    ConversionCount count_;
};

bool ends_with(const std::string& text, std::string_view end) {
    return text.size() > end.size() && std::string_view(text).substr(text.size() - end.size()) == end;
}

void pump_into(Pump& pump, Sink& sink) {
    pump.run([&](const Item& item) { sink.take(item); });
    sink.finish();
}

ConversionCount write_source(const std::string& path, Source& source, const std::string& out, bool npy,
                             const Progress& progress) {
    Pump pump(path, source, progress);
    if (ends_with(out, ".vcd") || ends_with(out, ".parquet")) {
        const OutputFile file(out);
        const auto sink = ends_with(out, ".vcd") ? vcd_sink(file.sink(), source.config, source.channels)
                                                 : parquet_sink(file.sink(), source.config);
        pump_into(pump, *sink);
        file.commit();
    } else {
        OutputFolder folder(out, recording_folder_kind());
        const auto sink = folder_sink(folder.path().string(), source.config, source.channels, npy);
        pump_into(pump, *sink);
        folder.commit();
    }
    return pump.count();
}

}  // namespace

Recording read_foreign(const ForeignFile& file, Description description, const Progress& progress) {
    Source source = open_source(file, description);
    Recording recording;
    recording.config = source.config;
    Pump pump(file.path, source, progress);
    pump.run([&](const Item& item) {
        if (item.kind == ItemKind::channel) {
            recording.channels.push_back({item.tick, item.channel, item.value});
            return;
        }
        recording.tick.push_back(item.tick);
        recording.signal.push_back(static_cast<std::uint8_t>(item.kind == ItemKind::cam ? Signal::cam : Signal::crank));
    });
    recording.notes = pump.count().warnings;
    const fs::path path(file.path);
    recording.folder = path.parent_path().empty() ? "." : path.parent_path().string();
    recording.files.push_back(path.filename().string());
    if (!file.mapping_file.empty()) recording.files.push_back(fs::path(file.mapping_file).filename().string());
    recording.described_in = source.description_file;
    recording.wheel_line = source.wheel_line;
    return recording;
}

ConversionCount convert(const ForeignFile& file, const std::string& out, bool npy, const Progress& progress) {
    std::error_code error;
    const bool to_file = ends_with(out, ".vcd") || ends_with(out, ".parquet");
    if (!to_file) check_output_folder(out, recording_folder_kind());
    if (!fs::is_directory(file.path, error)) {
        Source source = open_source(file, Description::needed);
        return write_source(file.path, source, out, npy, progress);
    }
    Recording recording = read_recording(file.path);
    if (to_file) {
        Source source = source_of_folder(std::move(recording));
        return write_source(file.path, source, out, npy, progress);
    }
    // From folder to folder the truth goes along.
    OutputFolder folder(out, recording_folder_kind());
    write_recording(folder.path().string(), recording, {npy, false});
    folder.commit();
    ConversionCount count;
    for (const std::uint8_t signal : recording.signal)
        ++(signal == static_cast<std::uint8_t>(Signal::cam) ? count.cam_edges : count.crank_edges);
    count.channel_rows = static_cast<std::int64_t>(recording.channels.size());
    count.seconds = duration_s(recording);
    return count;
}

}  // namespace kurbel::read
