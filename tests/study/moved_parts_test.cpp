#include "kurbel/study/moved_parts.hpp"

#include <gtest/gtest.h>

#include "kurbel/study/answer.hpp"

namespace kurbel {
namespace {

std::vector<int> of(const std::vector<std::string>& words, int cylinders = 4) {
    return moved_to(parse_moves(words), cylinders);
}

/// The refusal's sentence; "" where there is none.
std::string refusal(const std::vector<std::string>& words, int cylinders = 4) {
    try {
        static_cast<void>(of(words, cylinders));
    } catch (const WrongQuestion& error) {
        return error.what();
    }
    return "";
}

TEST(MovedParts, ALonePairIsAnExchange) {
    EXPECT_EQ(of({"4:1"}), (std::vector<int>{0, 4, 2, 3, 1}));
    EXPECT_EQ(of({"4:1", "1:4"}), of({"4:1"}));
    EXPECT_EQ(of({"4:1", "2:3"}), (std::vector<int>{0, 4, 3, 2, 1}));
}

TEST(MovedParts, RingsAreFollowedRound) {
    EXPECT_EQ(of({"4:1", "1:3", "3:4"}), (std::vector<int>{0, 3, 2, 4, 1}));
    EXPECT_EQ(of({"4:1", "1:3", "3:4", "2:5"}, 6), (std::vector<int>{0, 3, 5, 4, 1, 2, 6}));
}

TEST(MovedParts, WhatCannotBeIsRefusedWithWhatToDo) {
    EXPECT_NE(refusal({"4:4"}).find("exchange it with another"), std::string::npos);
    EXPECT_NE(refusal({"4:5"}).find("there is no cylinder 5; this engine has 1 to 4"), std::string::npos);
    EXPECT_NE(refusal({"0:1"}).find("there is no cylinder 0"), std::string::npos);
    EXPECT_NE(refusal({"4:1", "1:3"}).find("4:1 1:3 3:4"), std::string::npos);
    EXPECT_NE(refusal({"4:1", "3:1"}).find("name each place once"), std::string::npos);
    EXPECT_NE(refusal({"4:1", "4:2"}).find("name each part once"), std::string::npos);
    EXPECT_NE(refusal({}).find("nothing was moved"), std::string::npos);
}

TEST(MovedParts, WordsThatAreNoMoveAreRefused) {
    for (const char* word : {"", ":", "4", "4:", ":1", "4-1", "4:1:2", "four:1", "4:1 ", "99999999999:1", "+4:1"})
        EXPECT_NE(refusal({word}).find("write 4:1"), std::string::npos) << word;
}

}  // namespace
}  // namespace kurbel
