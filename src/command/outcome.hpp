// All that one analysis came to, for the files and the words that are made of it.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "kurbel/channel/crank_load.hpp"
#include "kurbel/core/calibration.hpp"
#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/stage/tally.hpp"
#include "kurbel/study/cylinder_table.hpp"
#include "kurbel/study/tdc_offset.hpp"

namespace kurbel::command {

/// How a loaded wheel fits the recording.
struct WheelUse {
    std::string file;  ///< as the caller named it
    WheelFit fit{};
};

struct Outcome {
    std::string recording;  ///< folder, as the caller named it
    Config config{};        ///< settings as used
    std::vector<Event> events;
    SyncState sync{};
    TdcOffset tdc_offset{};
    double work_over_told = 1.0;    ///< not 1 where the sizes of the engine are contradicted
    std::optional<WheelUse> wheel;  ///< none: teeth were taken to stand where they are told
    Tally tally{};
    CylinderTable table;
    std::optional<channel::CrankLoad> crank_load;             ///< none: a channel tells the load, or nobody asked
    double seconds = 0.0;                                     ///< first to last edge
    double mean_rpm = kUnknown;                               ///< mean over time while firings were seen
    std::vector<int> never_seen;                              ///< teeth of the described wheel that hardly ever passed
    std::vector<double> found_again_s;                        ///< when the wheel was found again, after each loss
    std::int64_t cam_edges = 0;                               ///< in the recording, described or not
    std::vector<std::string> notes;                           ///< what the reader found wrong with the signal
    std::vector<std::pair<std::string, std::string>> inputs;  ///< file name, SHA-256
};

/// "work" or "segment-roughness".
[[nodiscard]] const char* method_name(Method method) noexcept;

/// "3", or "2 or 3" where they cannot be told apart.
[[nodiscard]] std::string cylinder_text(const TallyRow& row);

/// "P0303".
[[nodiscard]] std::string code_text(int number);

/// Combustion contradicts the declared TDC: what the verdicts lean on is in question.
[[nodiscard]] inline bool in_doubt(const Outcome& outcome) { return outcome.tdc_offset.beyond(); }

/// The verdict in one sentence.
[[nodiscard]] std::string verdict_sentence(const Outcome& outcome);

/// What makes the description of the engine doubtful, a few sentences each; mostly none.
[[nodiscard]] std::vector<std::string> warnings(const Outcome& outcome);

/// The whole report for the terminal, the verdict first.
[[nodiscard]] std::string report_text(const Outcome& outcome);

/// summary.json.
[[nodiscard]] std::string summary_json(const Outcome& outcome);

/// plot.svg: severity of each firing over time, a panel a cylinder.
[[nodiscard]] std::string plot_svg(const Outcome& outcome);

}  // namespace kurbel::command
