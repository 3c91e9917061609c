// Decides, firing by firing, how much of the heat is removed on purpose.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "kurbel/simulate/random.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

class MisfirePlan {
  public:
    MisfirePlan(const std::vector<MisfireRule>& rules, std::uint64_t seed) : rules_(rules), state_(rules.size()) {
        for (std::size_t i = 0; i < rules.size(); ++i)
            for (std::size_t c = 0; c < kMaxCylinders; ++c) state_[i].random[c] = Random(seed, 1000 + 100 * i + c);
    }

    /// Severity of the next firing of `cylinder`; call once per firing, in any order of cylinders.
    [[nodiscard]] double next(int cylinder, double time_s, double load, double speed_rpm) {
        return next_loss(cylinder, time_s, load, speed_rpm).severity;
    }

    struct Loss {
        double severity = 0.0;
        bool keeps_mixture = false;  ///< as the rule that won says
    };

    /// The same with what the lost share leaves behind.
    [[nodiscard]] Loss next_loss(int cylinder, double time_s, double load, double speed_rpm) {
        Loss loss;
        for (std::size_t i = 0; i < rules_.size(); ++i) {
            const MisfireRule& rule = rules_[i];
            if (!rule.cylinders.empty() &&
                std::find(rule.cylinders.begin(), rule.cylinders.end(), cylinder) == rule.cylinders.end())
                continue;
            const bool hit = draw(rule, state_[i], static_cast<std::size_t>(cylinder - 1));
            const bool applies = time_s >= rule.from_s && time_s < rule.to_s && load <= rule.highest_load &&
                                 speed_rpm <= rule.highest_rpm;
            if (hit && applies && rule.severity > loss.severity) loss = {rule.severity, rule.keeps_mixture};
        }
        return loss;
    }

  private:
    struct State {
        std::array<Random, kMaxCylinders> random{};
        std::array<int, kMaxCylinders> left{};  ///< firings left of a burst
        long counter = 0;
    };

    /// One uniform draw per firing whatever the outcome, so that streams stay comparable between scenarios.
    [[nodiscard]] static bool draw(const MisfireRule& rule, State& state, std::size_t c) {
        const double u = state.random[c].uniform();
        switch (rule.pattern) {
            case MisfirePattern::continuous: return true;
            case MisfirePattern::random: return u < rule.rate;
            case MisfirePattern::periodic: return state.counter++ % rule.every == 0;
            case MisfirePattern::burst:
                if (state.left[c] == 0 && u < rule.rate) state.left[c] = rule.length;
                if (state.left[c] == 0) return false;
                --state.left[c];
                return true;
        }
        return false;
    }

    std::vector<MisfireRule> rules_;
    std::vector<State> state_;
};

}  // namespace kurbel::simulate
