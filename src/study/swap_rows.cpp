#include "study/swap_rows.hpp"

#include <algorithm>
#include <filesystem>
#include <set>

#include "kurbel/read/input_error.hpp"
#include "kurbel/study/answer.hpp"
#include "study/why_unjudged.hpp"
#include "text/text.hpp"

namespace kurbel::swap {

namespace {

using Side = std::vector<JudgedRecording>;

void refuse_other_engine(const JudgedRecording& first, const JudgedRecording& other) {
    const EngineConfig& a = first.config.engine;
    const EngineConfig& b = other.config.engine;
    const char* difference = a.cylinders != b.cylinders         ? "number of cylinders"
                             : a.strokes != b.strokes           ? "strokes"
                             : a.firing_order != b.firing_order ? "firing_order"
                                                                : nullptr;
    if (difference != nullptr)
        throw read::InputError(other.name, 0,
                               "is of another engine than " + first.name + " (" + difference +
                                   " in recording.toml differs); give recordings of one engine");
}

bool same_folder(const std::string& a, const std::string& b) {
    std::error_code error;
    return a == b || (!a.empty() && !b.empty() && std::filesystem::equivalent(a, b, error));
}

void check_sides(const Side& before, const Side& after) {
    if (before.empty() || after.empty())
        throw WrongQuestion("give at least one recording made before the parts were moved and one made after");
    for (const JudgedRecording& one : before)
        for (const JudgedRecording& other : after)
            if (same_folder(one.name, other.name))
                throw WrongQuestion(one.name +
                                    " stands on both sides; give a recording made before the parts were moved and "
                                    "another made after");
    for (const Side* side : {&before, &after})
        for (const JudgedRecording& recording : *side) {
            refuse_other_engine(before.front(), recording);
            if (recording.judged() == 0)
                throw read::InputError(recording.name, 0, "no firing could be judged: " + why_unjudged(recording));
        }
}

/// Which cylinder each is mistaken for, where most judged firings of a side know only pairs; empty where all are known.
std::vector<int> partners(const Side& before, const Side& after, int cylinders) {
    bool paired = false;
    std::vector<int> partner(static_cast<std::size_t>(cylinders) + 1, 0);
    for (const Side* side : {&before, &after}) {
        std::int64_t known = 0;
        std::int64_t unknown = 0;
        for (const JudgedRecording& recording : *side)
            for (const Event& event : recording.events) {
                if (event.verdict == Verdict::unjudged) continue;
                (event.cylinder > 0 ? known : unknown) += 1;
                const auto [a, b] = event.candidates;
                if (event.cylinder > 0 || a < 1 || b < 1 || a > cylinders || b > cylinders) continue;
                partner[static_cast<std::size_t>(a)] = b;
                partner[static_cast<std::size_t>(b)] = a;
            }
        paired = paired || unknown > known;
    }
    if (!paired) partner.clear();
    return partner;
}

std::vector<Row> empty_rows(const std::vector<int>& partner, int cylinders, std::vector<int>& row_of) {
    std::vector<Row> rows;
    row_of.assign(static_cast<std::size_t>(cylinders) + 1, -1);
    for (int c = 1; c <= cylinders; ++c) {
        const int other = partner.empty() ? 0 : partner[static_cast<std::size_t>(c)];
        if (other > 0 && other < c) {
            row_of[static_cast<std::size_t>(c)] = row_of[static_cast<std::size_t>(other)];
            continue;
        }
        row_of[static_cast<std::size_t>(c)] = static_cast<int>(rows.size());
        Row row;
        row.cylinder = {c, other};
        rows.push_back(row);
    }
    return rows;
}

void fill(const Side& side, const Kept& kept, bool paired, const std::vector<int>& row_of, std::vector<Row>& rows,
          FiringRecord Row::*record) {
    for (std::size_t r = 0; r < side.size(); ++r) {
        for (Row& row : rows) (row.*record).restart();
        std::vector<std::int64_t> last(rows.size(), -1);
        for (std::size_t i = 0; i < side[r].events.size(); ++i) {
            const Event& event = side[r].events[i];
            if (!kept[r][i] || (event.cylinder == 0 && !paired)) continue;
            const int cylinder = event.cylinder > 0 ? event.cylinder : event.candidates[0];
            if (cylinder < 1 || cylinder >= static_cast<int>(row_of.size())) continue;
            const auto place = static_cast<std::size_t>(row_of[static_cast<std::size_t>(cylinder)]);
            // A pair fires twice a cycle.
            std::int64_t position = rows[place].pair() ? 2 * event.cycle : event.cycle;
            if (position <= last[place]) position = last[place] + 1;
            last[place] = position;
            (rows[place].*record).add(position, event.verdict == Verdict::misfire);
        }
    }
}

std::vector<std::vector<int>> target_maps(const std::vector<Row>& rows, const std::vector<int>& to,
                                          const std::vector<int>& row_of) {
    std::set<std::vector<int>> maps;
    for (const std::size_t preferred : {std::size_t{0}, std::size_t{1}}) {
        std::vector<int> map;
        for (const Row& row : rows) {
            int moved = row.cylinder[0];
            for (const std::size_t which : {1 - preferred, preferred})
                if (const int c = row.cylinder[which]; c > 0 && to[static_cast<std::size_t>(c)] != c) moved = c;
            map.push_back(row_of[static_cast<std::size_t>(to[static_cast<std::size_t>(moved)])]);
        }
        maps.insert(map);
    }
    return {maps.begin(), maps.end()};
}

void refuse_other_conditions(const Case& made, const Side& before, const Side& after) {
    std::int64_t least = INT64_MAX;
    for (const Row& row : made.rows)
        if (row.moved) least = std::min({least, row.before.firings(), row.after.firings()});
    if (least >= CommonFirings::kLeastFirings) return;
    const std::string both =
        "BEFORE ran at " + in_words(made.point_before) + ", AFTER at " + in_words(made.point_after);
    if (std::min(made.common.kept_before, made.common.kept_after) <
            CommonFirings::kLeastFirings * before.front().config.engine.cylinders &&
        std::min(made.point_before.judged, made.point_after.judged) >=
            CommonFirings::kLeastFirings * before.front().config.engine.cylinders)
        throw read::InputError(after.front().name, 0,
                               both +
                                   ": these conditions are not similar (within 375 rpm, 20 % load and the same "
                                   "warm-up state), so the misfires cannot be compared; record AFTER as BEFORE was "
                                   "recorded");
    const bool before_is_short = made.point_before.judged < made.point_after.judged;
    throw read::InputError((before_is_short ? before : after).front().name, 0,
                           "too few firings of the moved cylinders can be compared (judged of all cylinders: " +
                               std::to_string(made.point_before.judged) + " before, " +
                               std::to_string(made.point_after.judged) + " after; " + both +
                               "); record 30 s or more on each side, the engine running all the time");
}

}  // namespace

std::string Row::label() const { return text::cylinder_name(pair() ? 0 : cylinder[0], {cylinder[0], cylinder[1]}); }

Case make_case(const Side& before, const Side& after, const std::vector<int>& to) {
    check_sides(before, after);
    const int cylinders = before.front().config.engine.cylinders;
    Case made;
    const std::vector<int> partner = partners(before, after, cylinders);
    made.paired = !partner.empty();
    std::vector<int> row_of;
    made.rows = empty_rows(partner, cylinders, row_of);
    for (int c = 1; c <= cylinders; ++c)
        if (to[static_cast<std::size_t>(c)] != c)
            made.rows[static_cast<std::size_t>(row_of[static_cast<std::size_t>(c)])].moved = true;
    made.targets = target_maps(made.rows, to, row_of);
    made.common = common_firings(before, after);
    made.point_before = operating_point(before);
    made.point_after = operating_point(after);
    fill(before, made.common.before, made.paired, row_of, made.rows, &Row::before);
    fill(after, made.common.after, made.paired, row_of, made.rows, &Row::after);
    made.pace = pace_of(before, after, made.common);
    refuse_other_conditions(made, before, after);
    return made;
}

}  // namespace kurbel::swap
