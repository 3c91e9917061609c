// From a plan to the streams that it speaks of: each signal and each channel walks the file by itself.
#include <cmath>

#include "kurbel/read/input_error.hpp"
#include "read/foreign/source.hpp"
#include "read/foreign/waveform_stream.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

Wish number(const std::string& column) { return {column, WishKind::number, {}, {}}; }
Wish time(const std::string& column, const std::string& unit, double hz) {
    return {column, WishKind::time, time_scale(unit, hz), {}};
}

/// Whether the file keeps times of its own beside its values.
bool keeps_times(const Mapping& mapping) {
    return mapping.time.empty() && (mapping.format == "vcd" || mapping.format == "mdf");
}

class Opener {
  public:
    Opener(const std::string& path, const Plan& plan, std::vector<Channel>& channels)
        : path_(path), plan_(plan), mapping_(plan.mapping), channels_(channels) {}

    std::vector<std::unique_ptr<ItemStream>> open() {
        if (!mapping_.signal.empty()) {
            open_mixed();
        } else {
            open_signal(mapping_.crank, ItemKind::crank);
            if (!mapping_.cam.empty()) open_signal(mapping_.cam, ItemKind::cam);
        }
        open_channels();
        return std::move(streams_);
    }

  private:
    [[nodiscard]] const std::string& unit() const { return plan_.clock.unit; }
    [[nodiscard]] double hz() const { return plan_.clock.timer.hz; }
    [[nodiscard]] std::unique_ptr<Table> table(std::vector<Wish> wishes) const {
        return open_table(path_, mapping_, plan_.contents, std::move(wishes));
    }

    /// The times of samples: a column, or those that the file keeps.
    [[nodiscard]] Wish sample_times(double clock_hz) const {
        if (mapping_.time.empty() && !keeps_times(mapping_))
            throw InputError(path_, 0, "has no times beside its values: name their column with time, or give rate_hz");
        return time(mapping_.time, keeps_times(mapping_) ? "s" : unit(), clock_hz);
    }

    void open_mixed() {
        if (mapping_.time.empty())
            throw InputError(path_, 0, "signal names the column of words: name that of times with time");
        std::vector<std::string> words{mapping_.crank.empty() ? "crank" : mapping_.crank,
                                       mapping_.cam.empty() ? "cam" : mapping_.cam};
        std::vector<WordMeaning> meanings{{ItemKind::crank, {}}, {ItemKind::cam, {}}};
        std::vector<Wish> wishes{time(mapping_.time, unit(), hz()), {mapping_.signal, WishKind::word, {}, {}}};
        if (!mapping_.value.empty()) {
            wishes.push_back(number(mapping_.value));
            for (const Channel channel : all_channels()) {
                words.push_back(word_for(channel));
                meanings.push_back({ItemKind::channel, channel});
                channels_.push_back(channel);
            }
        }
        wishes[1].words = words;
        streams_.push_back(mixed_list(table(wishes), meanings, !mapping_.value.empty(), plan_.clock));
    }

    [[nodiscard]] std::string word_for(Channel channel) const {
        const std::string told = channel == Channel::load          ? mapping_.load
                                 : channel == Channel::fuel_cut    ? mapping_.fuel_cut
                                 : channel == Channel::coolant_c   ? mapping_.coolant_c
                                 : channel == Channel::vehicle_kmh ? mapping_.vehicle_kmh
                                                                   : "";
        return told.empty() ? channel_name(channel) : told;
    }

    void open_signal(const std::string& column, ItemKind kind) {
        const bool cam = kind == ItemKind::cam;
        const std::string& flank = cam ? mapping_.cam_flank : mapping_.flank;
        if (mapping_.content == "edges") {
            refuse_narrow_counter(cam);
            streams_.push_back(edge_list(table({time(column, unit(), hz())}), kind, plan_.clock));
        } else if (mapping_.content == "levels") {
            streams_.push_back(
                level_edges(table({sample_times(hz()), number(column)}), kind, flank == "falling", plan_.clock));
        } else {
            open_waveform(column, kind, flank);
        }
    }

    /// Two lists of a counter that wraps cannot be put in order by themselves.
    void refuse_narrow_counter(bool cam) const {
        if (cam && plan_.clock.timer.bits > 0)
            throw InputError(
                path_, 0,
                "its counter wraps: a list of cam edges apart from the crank's cannot be put between them. Give "
                "both in one table (signal), or unwrapped ticks");
    }

    void open_waveform(const std::string& column, ItemKind kind, const std::string& flank) {
        WaveformRule rule;
        rule.kind = kind;
        rule.path = path_;
        rule.sensor = kind == ItemKind::cam ? mapping_.cam_sensor : mapping_.sensor;
        rule.flank = flank;
        rule.rate_hz = mapping_.rate_hz;
        rule.hz = hz();
        rule.in_time_units = mapping_.format != "wav" && (!mapping_.time.empty() || keeps_times(mapping_));
        if (!rule.in_time_units && mapping_.format != "wav" && rule.rate_hz == 0.0) (void)sample_times(hz());
        std::vector<Wish> wishes;
        if (rule.in_time_units) wishes.push_back(sample_times(hz()));
        wishes.push_back(number(column));
        streams_.push_back(waveform_edges(table(wishes), rule));
    }

    void open_channels() {
        open_channel(Channel::load, mapping_.load, mapping_.load_time);
        open_channel(Channel::fuel_cut, mapping_.fuel_cut, mapping_.fuel_cut_time);
        open_channel(Channel::coolant_c, mapping_.coolant_c, mapping_.coolant_time);
        open_channel(Channel::vehicle_kmh, mapping_.vehicle_kmh, mapping_.vehicle_time);
        if (!plan_.own || mapping_.format != "vcd") return;
        for (const Channel channel : all_channels())
            for (const std::string& column : plan_.contents.columns)
                if (column == channel_name(channel)) open_channel(channel, column, "");
    }

    void open_channel(Channel channel, const std::string& column, const std::string& own_time) {
        if (column.empty() || (!mapping_.signal.empty() && !mapping_.value.empty())) return;
        const bool flag = channel == Channel::fuel_cut || channel >= Channel::fuel_cut_first;
        const bool even = mapping_.content == "waveform";
        ChannelRule rule;
        rule.channel = channel;
        rule.hz = hz();
        const double interval_s = mapping_.channel_interval_s >= 0.0 ? mapping_.channel_interval_s : even ? 0.01 : 0.0;
        rule.interval_ns = flag ? 0 : std::llround(interval_s * 1e9);
        rule.in_ticks = unit() == "ticks" && !keeps_times(mapping_);
        rule.offset_s = mapping_.channel_offset_s;
        rule.drift = mapping_.channel_drift;
        Wish times;
        if (!own_time.empty()) {
            times = time(own_time, unit(), rule.in_ticks ? hz() : 1e9);
        } else if (even && !keeps_times(mapping_) && mapping_.time.empty()) {
            channels_.push_back(channel);
            streams_.push_back(channel_values(counted_times(table({number(column)}), mapping_.rate_hz), rule));
            return;
        } else {
            if (mapping_.time.empty() && !keeps_times(mapping_))
                throw InputError(path_, 0,
                                 channel_name(channel) + ": name the column of its times with " + time_key(channel));
            times = time(mapping_.time, keeps_times(mapping_) ? "s" : unit(), rule.in_ticks ? hz() : 1e9);
        }
        channels_.push_back(channel);
        streams_.push_back(channel_values(table({times, number(column)}), rule));
    }

    static std::string time_key(Channel channel) {
        switch (channel) {
            case Channel::load: return "load_time";
            case Channel::coolant_c: return "coolant_time";
            case Channel::vehicle_kmh: return "vehicle_time";
            default: return "fuel_cut_time";
        }
    }

    std::string path_;
    const Plan& plan_;
    const Mapping& mapping_;
    std::vector<Channel>& channels_;
    std::vector<std::unique_ptr<ItemStream>> streams_;
};

}  // namespace

std::vector<std::unique_ptr<ItemStream>> open_streams(const std::string& path, const Plan& plan,
                                                      std::vector<Channel>& channels) {
    return Opener(path, plan, channels).open();
}

}  // namespace kurbel::read
