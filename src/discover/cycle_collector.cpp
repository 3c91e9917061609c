#include "discover/cycle_collector.hpp"

#include <algorithm>
#include <map>

namespace kurbel::discover {

void CycleCollector::push(const Tooth& tooth) {
    const int place = tooth.half * teeth_ + tooth.index;
    if (tooth.phase_known && !phase_known_) {
        // What came before may be half a cycle off.
        cycles.clear();
        phase_known_ = true;
    }
    const bool next = has_last_ && !tooth.restart && place == (last_ + 1) % fit_->intervals;
    if (tooth.restart && !tooth.phase_known) ++section_;
    if (next) {
        const double interval_s = static_cast<double>(tooth.tick - last_tick_) / hz_;
        energy_[last_] = fit_->factor[static_cast<std::size_t>(last_)] / (interval_s * interval_s);
        ++run_;
    } else {
        run_ = 0;
        connected_ = false;
    }
    if (place == 0) {
        const double time_s = static_cast<double>(tooth.tick) / hz_;
        if (run_ >= fit_->intervals) {
            cycles.push_back({begin_s_, time_s, energy_.mean(), section_, connected_, fit_->rows * energy_});
            connected_ = true;
        } else {
            connected_ = false;
        }
        begin_s_ = time_s;
        run_ = 0;
    }
    has_last_ = true;
    last_ = place;
    last_tick_ = tooth.tick;
}

void keep_longest_section(std::vector<Cycle>& cycles) {
    std::map<int, int> count;
    for (const Cycle& cycle : cycles) ++count[cycle.section];
    const auto most =
        std::max_element(count.begin(), count.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
    if (most == count.end()) return;
    std::erase_if(cycles, [&](const Cycle& cycle) { return cycle.section != most->first; });
}

}  // namespace kurbel::discover
