#include "kurbel/study/moved_parts.hpp"

#include <algorithm>
#include <charconv>

#include "kurbel/study/answer.hpp"

namespace kurbel {

namespace {

std::string text_of(const Move& move) { return std::to_string(move.from) + ":" + std::to_string(move.to); }

bool whole_number(const char* first, const char* last, int& value) {
    const auto [end, error] = std::from_chars(first, last, value);
    return error == std::errc() && end == last && first != last;
}

void check(const Move& move, int cylinders) {
    for (const int cylinder : {move.from, move.to})
        if (cylinder < 1 || cylinder > cylinders)
            throw WrongQuestion("moved " + text_of(move) + ": there is no cylinder " + std::to_string(cylinder) +
                                "; this engine has 1 to " + std::to_string(cylinders));
    if (move.from == move.to)
        throw WrongQuestion("moved " + text_of(move) +
                            ": the part stayed where it was, which tells nothing; exchange it with another cylinder's");
}

bool touches(const Move& move, int cylinder) { return move.from == cylinder || move.to == cylinder; }

/// Lone pairs become exchanges.
std::vector<Move> with_ways_back(const std::vector<Move>& moves) {
    std::vector<Move> all = moves;
    for (const Move& move : moves) {
        const auto meets = [&](const Move& other) { return touches(other, move.from) || touches(other, move.to); };
        if (std::count_if(moves.begin(), moves.end(), meets) == 1) all.push_back({move.to, move.from});
    }
    return all;
}

}  // namespace

std::vector<Move> parse_moves(const std::vector<std::string>& words) {
    std::vector<Move> moves;
    for (const std::string& word : words) {
        Move move;
        const std::size_t colon = word.find(':');
        const char* begin = word.data();
        const char* end = begin + word.size();
        if (colon == std::string::npos || !whole_number(begin, begin + colon, move.from) ||
            !whole_number(begin + colon + 1, end, move.to))
            throw WrongQuestion("moved \"" + word +
                                "\" is not understood; write 4:1 where the part of cylinder 4 went to cylinder 1");
        moves.push_back(move);
    }
    return moves;
}

std::vector<int> moved_to(const std::vector<Move>& moves, int cylinders) {
    if (moves.empty()) throw WrongQuestion("moved: nothing was moved; say which part went where, 4:1 for example");
    for (const Move& move : moves) check(move, cylinders);
    std::vector<int> to(static_cast<std::size_t>(cylinders) + 1, 0);
    std::vector<bool> taken(to.size(), false);
    for (const Move& move : with_ways_back(moves)) {
        const auto from = static_cast<std::size_t>(move.from);
        const auto target = static_cast<std::size_t>(move.to);
        if (to[from] != 0)
            throw WrongQuestion("moved: the part of cylinder " + std::to_string(move.from) +
                                " cannot be in two places; name each part once");
        if (taken[target])
            throw WrongQuestion("moved: two parts cannot be in cylinder " + std::to_string(move.to) +
                                "; name each place once");
        to[from] = move.to;
        taken[target] = true;
    }
    for (std::size_t c = 1; c < to.size(); ++c) {
        if (to[c] != 0 && !taken[c])
            throw WrongQuestion("moved: the ring does not close: nothing is said to be in cylinder " +
                                std::to_string(c) + " now; name every part that moved, as in 4:1 1:3 3:4");
        if (to[c] == 0 && taken[c])
            throw WrongQuestion("moved: the ring does not close: where did the part of cylinder " + std::to_string(c) +
                                " go? Name every part that moved, as in 4:1 1:3 3:4");
        if (to[c] == 0) to[c] = static_cast<int>(c);
    }
    return to;
}

}  // namespace kurbel
