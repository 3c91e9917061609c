// A draft of recording.toml.
#include <cmath>

#include "kurbel/discover/tell.hpp"
#include "text/text.hpp"

namespace kurbel::discover {

namespace {

using text::format;

std::string list(const std::vector<double>& values, const char* pattern) {
    std::string out = "[";
    for (std::size_t i = 0; i < values.size(); ++i)
        out += (i > 0 ? ", " : "") +
               (pattern[1] == '.' && pattern[2] == '1' ? format("%.1f", values[i]) : format("%.9g", values[i]));
    return out + "]";
}

/// One line, a comment where it is not told.
std::string line(bool told, const std::string& key_value, const std::string& comment) {
    return (told ? "" : "# ") + key_value + (comment.empty() ? "" : "  # " + comment) + "\n";
}

std::string engine_part(const EngineFinding& engine) {
    const bool told = engine.cylinders > 0 && engine.sureness != Sureness::not_sure;
    const std::string how = told                   ? format("from the edges, %s", name(engine.sureness))
                            : engine.cylinders > 0 ? "a guess: count them"
                                                   : "count them";
    std::string out = "[engine]\n";
    out +=
        line(told, "cylinders = " + (engine.cylinders > 0 ? std::to_string(engine.cylinders) : std::string("?")), how);
    if (engine.cylinders > 0 && !engine.even)
        out += line(told, "firing_tdc_deg = " + list(engine.firing_tdc_deg, "%g"), "begin with cylinder 1's");
    out += line(false, "firing_order = [1, ...]", "from the maker's data");
    out += "# bore_mm, stroke_mm, rod_mm, compression_ratio, reciprocating_kg, inertia_kg_m2, throw: where known\n";
    return out;
}

std::string wheel_part(const WheelFinding& wheel, const TdcFinding& tdc) {
    const bool told = wheel.found() && wheel.sureness != Sureness::not_sure;
    std::string out = "\n[crank_wheel]\n";
    const std::string how = wheel.found() ? format("%s, %s", wheel.name().c_str(), name(wheel.sureness)) : "count them";
    if (wheel.positions > 0) {
        out += line(told, "positions = " + std::to_string(wheel.positions), how);
        std::vector<double> absent(wheel.absent.begin(), wheel.absent.end());
        out += line(told, "absent = " + list(absent, "%g"), "place 0 is the first tooth after the widest gap");
    } else if (wheel.found()) {
        out +=
            line(told, "tooth_angles_deg = " + list(wheel.angle_deg, "%.1f"), how + "; measured, from the widest gap");
    } else {
        out += line(false, "positions = ?", how);
        out += line(false, "absent = [?]", "");
    }
    // A firing TDC is known, whose it is never: that is for a person to say.
    std::string candidates;
    if (tdc.found() && tdc.sureness != Sureness::not_sure) {
        for (double deg = std::fmod(tdc.deg, tdc.period_deg); deg < 720.0 && candidates.size() < 200;
             deg += tdc.period_deg) {
            const std::string one = format("%.0f", std::fmod(deg, 360.0));
            if ((", " + candidates + ", ").find(", " + one + ", ") == std::string::npos)
                candidates += (candidates.empty() ? "" : ", ") + one;
        }
    }
    out += line(false, "tdc1_deg = ?",
                candidates.empty() ? "from the timing mark: degrees from place 0's edge to cylinder 1's TDC"
                                   : "cylinder 1's TDC is one of " + candidates + "; its timing mark tells which");
    out += line(false, "at = \"front\"", "or \"flywheel\"");
    return out;
}

}  // namespace

std::string draft_toml(const Discovery& found, const TimerConfig* timer) {
    std::string out =
        "# A draft: what stands here was read from the edges, and a person has to confirm it. Lines that begin with # "
        "and a key\n"
        "# wait for what edges cannot tell.\n"
        "contract = 1\n\n";
    out += engine_part(found.engine) + wheel_part(found.wheel, found.tdc);
    if (!found.cam.edge_deg.empty()) {
        out += "\n# [cam_wheel]\n";
        out += format("# Seen at %s degrees after place 0 of one of the two revolutions. Take the crank\n",
                      list(found.cam.edge_deg, "%.1f").c_str());
        out += "# degrees from there to cylinder 1's firing TDC off each, and add 720 to what is below 0.\n";
        out += "# edges_deg = [?]\n";
    }
    if (timer != nullptr) {
        out += format("\n[timer]\nhz = %.15g\n", timer->hz);
        if (timer->bits > 0) out += format("bits = %d\n", timer->bits);
    }
    return out;
}

}  // namespace kurbel::discover
