// Load from the crank alone, against the channel that the recordings hold and that the estimate never sees.
#include "kurbel/channel/crank_load.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

namespace kurbel::channel {
namespace {

struct Compared {
    double correlation = 0.0;
    double rms = 0.0;    ///< left after the scale that fits best, in units of the true load
    double doubt = 0.0;  ///< stated, the same unit, root of the mean square
};

void forget_load(read::Recording& recording) {
    std::erase_if(recording.channels, [](const read::ChannelRow& row) { return row.channel == Channel::load; });
}

Compared compare(const CrankLoad& found, const std::vector<read::ChannelRow>& channels, double hz) {
    std::vector<double> real;
    std::vector<double> told;
    double square = 0.0;
    double doubt = 0.0;
    double product = 0.0;
    double now = kUnknown;
    std::size_t next = 0;
    for (std::size_t i = 0; i < found.load.size(); ++i) {
        while (next < channels.size() && static_cast<double>(channels[next].tick) / hz <= found.time_s[i]) {
            if (channels[next].channel == Channel::load) now = channels[next].value;
            ++next;
        }
        if (std::isnan(now)) continue;
        real.push_back(now);
        told.push_back(found.load[i]);
        product += now * found.load[i];
        square += found.load[i] * found.load[i];
        doubt += found.doubt[i] * found.doubt[i];
    }
    const auto n = static_cast<double>(real.size());
    const double scale = product / square;
    double mean_real = 0.0;
    double mean_told = 0.0;
    Compared result;
    for (std::size_t i = 0; i < real.size(); ++i) {
        mean_real += real[i] / n;
        mean_told += told[i] / n;
        result.rms += std::pow(real[i] - scale * told[i], 2) / n;
    }
    double rr = 0.0;
    double tt = 0.0;
    double rt = 0.0;
    for (std::size_t i = 0; i < real.size(); ++i) {
        rr += std::pow(real[i] - mean_real, 2);
        tt += std::pow(told[i] - mean_told, 2);
        rt += (real[i] - mean_real) * (told[i] - mean_told);
    }
    result.correlation = rt / std::sqrt(rr * tt);
    result.rms = std::sqrt(result.rms);
    result.doubt = scale * std::sqrt(doubt / n);
    return result;
}

std::string dataset(const char* name) { return std::string(KURBEL_DATASETS) + "/" + name; }

/// A recording without its load channel, what is found in it, and how that compares with the channel.
struct Blinded {
    read::Recording road;
    CrankLoad found;
    Compared seen;

    explicit Blinded(const char* name) : road(read::read_recording(dataset(name))) {
        const auto channels = road.channels;
        forget_load(road);
        found = load_from_crank(road, "road");
        EXPECT_TRUE(found.known()) << found.why_not;
        seen = compare(found, channels, road.config.timer.hz);
    }
};

TEST(CrankLoad, FollowsTheChannelThatItDoesNotSee) {
    const auto [road, found, seen] = Blinded("pickup-road");
    EXPECT_TRUE(found.pistons_known);
    EXPECT_GT(seen.correlation, 0.98);
    EXPECT_LT(seen.rms, 0.06);
    EXPECT_LT(seen.rms, 2.0 * seen.doubt);
    // By its scale: the 95 % point is 1.
    EXPECT_NEAR(*std::max_element(found.load.begin(), found.load.end()), 1.0, 0.3);
}

TEST(CrankLoad, IsRefusedWherePistonsOrWheelMayHideTheGas) {
    auto [road, found, seen] = Blinded("foreign-v6-road");
    EXPECT_GT(seen.correlation, 0.8);
    road.config.engine.reciprocating_kg = kUnknown;
    const CrankLoad blind = load_from_crank(road, "road");
    EXPECT_FALSE(blind.known());
    EXPECT_NE(blind.why_not.find("mass"), std::string::npos);
    EXPECT_FALSE(blind.pistons_known);
}

TEST(CrankLoad, SaysWhatIsMissing) {
    read::Recording road = read::read_recording(dataset("pickup-road"));
    road.tick.resize(1000);
    road.signal.resize(1000);
    EXPECT_NE(load_from_crank(road, "road").why_not.find("fewer than 40"), std::string::npos);
}

}  // namespace
}  // namespace kurbel::channel
