#include "study/swap_stories.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace kurbel::swap {

namespace {

// Nobody knows before which verdict it will be: each is as likely.
constexpr double kVerdict = 0.25;
// So are the three kinds of "other": both places have it now, one that the part never saw, anything else.
constexpr double kOtherKind = kVerdict / 3.0;
// A fault of a cylinder whose part was not moved mostly remains.
constexpr double kUnmovedRemains = 0.7;
constexpr double kUnmovedGone = 0.2;
// Without a fault before, there is mostly none after.
constexpr double kNothing = 0.8;

bool has(std::uint32_t set, int row) { return (set >> row & 1U) != 0; }

/// The stories of one set of rows that were faulty before.
class Stories {
  public:
    Stories(const Moves& moves, std::uint32_t faulty, double log_prior, std::vector<Explanation>& to)
        : moves_(moves),
          faulty_(faulty),
          moved_(faulty & moves.moved),
          unmoved_(faulty & ~moves.moved),
          log_prior_(log_prior),
          to_(to) {}

    void add() {
        if (faulty_ == 0) return add_without_fault();
        if (moved_ == 0) return add_unmoved();
        add(Story::vanished, kVerdict, -1);
        mark_same(add(Story::stayed, kVerdict, -1), faulty_);
        const auto maps = static_cast<double>(moves_.targets.size());
        for (std::size_t map = 0; map < moves_.targets.size(); ++map)
            carry(add(Story::followed, kVerdict / maps, static_cast<int>(map)), map);
        double left = kOtherKind;
        left += add_both() ? 0.0 : kOtherKind;
        left += add_elsewhere() ? 0.0 : kOtherKind;
        if (unmoved_ != 0) {  // the moved one vanished, another remains
            mark_same(add(Story::other, 0.5 * left, -1), unmoved_);
            left *= 0.5;
        }
        add_free(left);
    }

  private:
    Explanation& add(Story story, double prior, int map) {
        Explanation& one = to_.emplace_back();
        one.faulty = faulty_;
        one.story = story;
        one.map = map;
        one.prior = log_prior_ + std::log(prior);
        return one;
    }

    static void mark(Explanation& one, int row, Cause::Kind kind, int source) {
        one.after[static_cast<std::size_t>(row)] = {kind, static_cast<std::uint8_t>(source)};
    }
    void mark_same(Explanation& one, std::uint32_t set) const {
        for (int r = 0; r < moves_.rows; ++r)
            if (has(set, r)) mark(one, r, Cause::Kind::same, r);
    }
    void carry(Explanation& one, std::size_t map) const {
        for (int r = 0; r < moves_.rows; ++r)
            if (has(faulty_, r)) mark(one, moves_.targets[map][static_cast<std::size_t>(r)], Cause::Kind::same, r);
    }

    void add_without_fault() {
        add(Story::nothing, kNothing, -1);
        add_free(1.0 - kNothing);
    }

    void add_unmoved() {
        mark_same(add(Story::other, kUnmovedRemains, -1), faulty_);
        add(Story::vanished, kUnmovedGone, -1);
        add_free(1.0 - kUnmovedRemains - kUnmovedGone);
    }

    void add_free(double prior) {
        if (told_patterns(moves_, faulty_).size() == std::size_t{1} << moves_.rows) return;  // none is left
        Explanation& one = add(Story::other, prior, -1);
        one.free = true;
        for (int r = 0; r < moves_.rows; ++r)
            mark(one, r, has(faulty_, r) ? Cause::Kind::alike : Cause::Kind::fresh, r);
    }

    /// The place that the part left has it, and the one it went to. Whose rate the other one shares is open.
    bool add_both() {
        const std::size_t before = to_.size();
        for (std::size_t map = 0; map < moves_.targets.size(); ++map) {
            const std::uint32_t there = moves_.carried(faulty_, map);
            if ((there | faulty_) == faulty_) continue;
            Explanation& left = add(Story::other, 0.5, static_cast<int>(map));
            mark_same(left, faulty_);
            for (int r = 0; r < moves_.rows; ++r) {
                const int target = moves_.targets[map][static_cast<std::size_t>(r)];
                if (has(faulty_, r) && !has(faulty_, target)) mark(left, target, Cause::Kind::alike, r);
            }
            Explanation& taken = add(Story::other, 0.5, static_cast<int>(map));
            carry(taken, map);
            for (int r = 0; r < moves_.rows; ++r)
                if (has(faulty_, r) && !has(there, r)) mark(taken, r, Cause::Kind::alike, r);
        }
        return share(before, kOtherKind);
    }

    /// The moved cylinders are well, and one that neither had the fault nor took its part has it.
    bool add_elsewhere() {
        std::uint32_t taken = faulty_;
        for (std::size_t map = 0; map < moves_.targets.size(); ++map) taken |= moves_.carried(faulty_, map);
        int source = 0;
        while (!has(moved_, source)) ++source;
        const std::size_t before = to_.size();
        for (int r = 0; r < moves_.rows; ++r) {
            if (has(taken, r)) continue;
            Explanation& one = add(Story::other, 1.0, -1);
            mark_same(one, unmoved_);
            mark(one, r, Cause::Kind::alike, source);
        }
        return share(before, kOtherKind);
    }

    /// Shares `prior` evenly among those added since `first`; false where there are none.
    bool share(std::size_t first, double prior) {
        const std::size_t count = to_.size() - first;
        for (std::size_t i = first; i < to_.size(); ++i)
            to_[i].prior = log_prior_ + std::log(prior / static_cast<double>(count));
        return count > 0;
    }

    const Moves& moves_;
    std::uint32_t faulty_;
    std::uint32_t moved_;
    std::uint32_t unmoved_;
    double log_prior_;
    std::vector<Explanation>& to_;
};

}  // namespace

void add_stories(const Moves& moves, std::uint32_t faulty, double log_prior, std::vector<Explanation>& to) {
    Stories(moves, faulty, log_prior, to).add();
}

std::vector<std::uint32_t> told_patterns(const Moves& moves, std::uint32_t faulty) {
    std::vector<std::uint32_t> own{0U};
    if ((faulty & moves.moved) != 0) {
        own.push_back(faulty);
        for (std::size_t map = 0; map < moves.targets.size(); ++map) own.push_back(moves.carried(faulty, map));
    }
    std::sort(own.begin(), own.end());
    own.erase(std::unique(own.begin(), own.end()), own.end());
    return own;
}

}  // namespace kurbel::swap
