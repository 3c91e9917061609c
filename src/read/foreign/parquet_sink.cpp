// Parquet, through a Python process: no library for it is small.
#include <cmath>

#include "read/config_toml.hpp"
#include "read/foreign/helper_process.hpp"
#include "read/foreign/sink.hpp"
#include "read/foreign/source.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

template <class T>
void append_bytes(std::string& bytes, const std::vector<T>& values) {
    bytes.append(reinterpret_cast<const char*>(values.data()), values.size() * sizeof(T));
}

class ParquetSink : public Sink {
  public:
    ParquetSink(const SinkFile& file, const Config& config) : process_(file.name, {"write", "parquet", file.path}) {
        process_.send('D', "contract = 1\n\n" + to_toml(config));
        std::string names = "[\"crank\", \"cam\"";
        for (const Channel channel : all_channels()) names += ", \"" + channel_name(channel) + "\"";
        process_.send('W', names + "]");
    }

    void take(const Item& item) override {
        std::int64_t place = item.kind == ItemKind::cam ? 1 : 0;
        if (item.kind == ItemKind::channel)
            for (std::size_t i = 0; i < all_channels().size(); ++i)
                if (all_channels()[i] == item.channel) place = static_cast<std::int64_t>(i) + 2;
        tick_.push_back(item.tick);
        place_.push_back(place);
        value_.push_back(item.kind == ItemKind::channel ? item.value : kUnknown);
        if (tick_.size() == kBlockRows) flush();
    }

    void finish() override {
        if (!tick_.empty()) flush();
        process_.send('Z', "");
        (void)process_.receive();
    }

  private:
    void flush() {
        std::string bytes;
        append_bytes(bytes, std::vector<std::uint64_t>{tick_.size()});
        append_bytes(bytes, tick_);
        append_bytes(bytes, place_);
        append_bytes(bytes, value_);
        process_.send('B', bytes);
        tick_.clear();
        place_.clear();
        value_.clear();
    }

    HelperProcess process_;
    std::vector<std::int64_t> tick_;
    std::vector<std::int64_t> place_;
    std::vector<double> value_;
};

}  // namespace

std::unique_ptr<Sink> parquet_sink(const SinkFile& file, const Config& config) {
    return std::make_unique<ParquetSink>(file, config);
}

}  // namespace kurbel::read
