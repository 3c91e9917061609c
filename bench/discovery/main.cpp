// What share of drawn engines and wheels is recognised from their edges alone.
#include <CLI/CLI.hpp>
#include <cmath>
#include <cstdio>
#include <string>

#include "draw.hpp"
#include "judge.hpp"
#include "kurbel/simulate/simulator.hpp"

namespace {

using namespace kurbel_discovery;

struct Call {
    std::string cells = KURBEL_CELLS;
    std::string wheel;
    std::string drive;
    std::uint64_t first = 1;
    int seeds = 10;
    bool every = false;
    bool tell_cuts = false;
    double share = 1.0;
};

/// The number of wrong answers.
int run(const Call& call) {
    Counts all;
    std::printf(
        "| wheel | seeds | wheel right | not sure | wrong | second line right | not sure | wrong | cylinders right | "
        "not sure | "
        "wrong | TDC right | not sure | wrong |\n");
    std::printf("|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n");
    for (const WheelKind& kind : wheel_kinds()) {
        if (!call.wheel.empty() && std::string(kind.name).find(call.wheel) == std::string::npos) continue;
        Counts counts;
        for (int i = 0; i < call.seeds; ++i) {
            const std::uint64_t seed = call.first + static_cast<std::uint64_t>(i);
            Drive drive{};
            if (call.drive == "hold") drive = Drive::hold;
            if (call.drive == "cut") drive = Drive::cut;
            if (call.drive == "coast") drive = Drive::coast;
            Drawn drawn = draw(kind, seed, call.cells, call.drive.empty() ? nullptr : &drive);
            shorten(call.share, drawn.scenario);
            try {
                const kurbel::read::Recording recording = kurbel::simulate::simulate(drawn.scenario);
                const Judgement judgement = judge(drawn, recording, call.tell_cuts);
                counts.add(judgement);
                if (call.every || judgement.any_wrong())
                    std::printf("  %s seed %llu %s %s: %s\n", kind.name, static_cast<unsigned long long>(seed),
                                drawn.engine.c_str(), name(drawn.drive), judgement.text.c_str());
            } catch (const std::exception& error) {
                std::printf("  %s seed %llu %s: %s\n", kind.name, static_cast<unsigned long long>(seed),
                            drawn.engine.c_str(), error.what());
            }
        }
        std::printf("%s\n", counts.row(kind.name).c_str());
        std::fflush(stdout);
        all.add(counts);
    }
    std::printf("%s\n", all.row("all").c_str());
    return all.wrong();
}

}  // namespace

int main(int argc, char** argv) {
    CLI::App app("Shares of wheels, engines and TDCs that are recognised from edges alone", "kurbel_discovery");
    Call call;
    app.add_option("--cells", call.cells, "Folder with the layout cells");
    app.add_option("--wheel", call.wheel, "Only wheels whose name holds this");
    app.add_option("--drive", call.drive, "Only this drive")->check(CLI::IsMember({"idle", "hold", "cut", "coast"}));
    app.add_option("--first", call.first, "First seed");
    app.add_option("--seeds", call.seeds, "Seeds a wheel");
    app.add_flag("--every", call.every, "Tell of every seed, not of wrong ones alone");
    app.add_flag("--tell-cuts", call.tell_cuts, "Tell the discovery when there was no fuel, as a channel would");
    app.add_option("--share", call.share,
                   "Play each drive in this share of its time: cheaper, where the wheel alone is asked")
        ->check(CLI::Range(0.1, 1.0));
    CLI11_PARSE(app, argc, argv);
    return run(call) > 0 ? 1 : 0;
}
