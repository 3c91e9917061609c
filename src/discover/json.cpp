#include <cmath>

#include "kurbel/core/version.hpp"
#include "kurbel/discover/tell.hpp"
#include "kurbel/study/cautions.hpp"
#include "text/json.hpp"

namespace kurbel::discover {

namespace {

using text::Json;
using text::number;

Json common(const Finding& finding) {
    return {{"sureness", name(finding.sureness)},
            {"confidence", finding.confidence},
            {"why", finding.why},
            {"raise", finding.raise}};
}

Json joined(Json one, const Json& two) {
    one.update(two);
    return one;
}

}  // namespace

std::string to_json(const Discovery& found, const Config* described) {
    Json json;
    json["crank_edges"] = found.crank_edges;
    json["seconds"] = found.seconds;
    json["lowest_rpm"] = number(found.lowest_rpm);
    json["highest_rpm"] = number(found.highest_rpm);
    json["wheel"] = joined({{"name", found.wheel.name()},
                            {"teeth", found.wheel.teeth},
                            {"positions", found.wheel.positions},
                            {"absent", found.wheel.absent},
                            {"tooth_angles_deg", found.wheel.angle_deg},
                            {"measured_deg", found.wheel.measured_deg},
                            {"misplaced_deg", number(found.wheel.misplaced_deg)},
                            {"turns", found.wheel.turns},
                            {"whole_share", found.wheel.whole_share}},
                           common(found.wheel));
    json["second_line"] = joined({{"edges", found.cam.edges_seen},
                                  {"tells_cycle", found.cam.tells_cycle},
                                  {"tells_turn", found.cam.tells_turn},
                                  {"edges_deg_from_place_0", found.cam.edge_deg}},
                                 common(found.cam));
    json["engine"] = joined({{"strokes", found.engine.strokes > 0 ? Json(found.engine.strokes) : Json(nullptr)},
                             {"cylinders", found.engine.cylinders > 0 ? Json(found.engine.cylinders) : Json(nullptr)},
                             {"even", found.engine.even},
                             {"layout", found.engine.layout},
                             {"firing_tdc_deg", found.engine.firing_tdc_deg}},
                            common(found.engine));
    json["tdc"] = joined({{"deg_from_place_0", number(found.tdc.deg)},
                          {"low_deg", number(found.tdc.low_deg)},
                          {"high_deg", number(found.tdc.high_deg)},
                          {"period_deg", number(found.tdc.period_deg)},
                          {"fuel_cut", found.tdc.fuel_cut}},
                         common(found.tdc));
    json["channels_swapped"] = found.channels_swapped;
    if (described != nullptr) json["against_description"] = contradictions(found, *described);
    json["next_step"] = found.next_step;
    json["version"] = KURBEL_VERSION_STRING;
    return json.dump(2) + "\n";
}

Answer as_answer(const Discovery& found, const Config* described, const TimerConfig* timer) {
    Answer answer;
    answer.study = "inspect";
    answer.question = "Which wheel, cam and engine do these edges come from?";
    answer.verdict = name(found.wheel.sureness);
    answer.sentence =
        found.wheel.found() ? "The crank wheel looks like this: " + found.wheel.name() + "." : found.wheel.why;
    answer.table = report_text(found, described);
    Json evidence = Json::parse(to_json(found, described));
    evidence["draft_recording_toml"] = draft_toml(found, timer);
    answer.evidence = evidence.dump();
    answer.cautions = cautions({Caution::running_engine, Caution::carbon_monoxide, Caution::hot_exhaust});
    answer.picture = tooth_period_svg(found);
    return answer;
}

}  // namespace kurbel::discover
