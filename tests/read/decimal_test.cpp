// Decimal text to whole numbers, exactly.
#include "../src/read/decimal.hpp"

#include <gtest/gtest.h>

#include <cstdint>
#include <initializer_list>

namespace {

using namespace kurbel::read;

struct Reading {
    const char* text;
    std::int64_t nanoseconds;
};

void expect_readings(Rounding rounding, std::initializer_list<Reading> readings) {
    for (const Reading& reading : readings)
        EXPECT_EQ(scaled_decimal(reading.text, 9, rounding), reading.nanoseconds) << reading.text;
}

TEST(ScaledDecimal, SecondsBecomeNanosecondsExactly) {
    // 36000.123456789 s has 14 digits: through a double the last ones would be lost.
    expect_readings(Rounding::nearest, {{"0.000034000", 34000},
                                        {"12", 12000000000},
                                        {"12.", 12000000000},
                                        {".5", 500000000},
                                        {"+1.25", 1250000000},
                                        {"-1.25", -1250000000},
                                        {"0", 0},
                                        {"-0.0", 0},
                                        {"36000.123456789", 36000123456789},
                                        {"1700000000.123456789", 1700000000123456789},
                                        {"9223372036.854775807", INT64_MAX}});
}

TEST(ScaledDecimal, Exponents) {
    expect_readings(Rounding::nearest, {{"3.4e-05", 34000},
                                        {"3.400000000000000000e-05", 34000},
                                        {"1E3", 1000000000000},
                                        {"1e+00", 1000000000},
                                        {"0e500", 0},
                                        {"1e-400", 0}});
    expect_readings(Rounding::up, {{"1e-400", 1}});
}

TEST(ScaledDecimal, Rounds) {
    // Digits beyond the nineteenth still tell that the number is above.
    expect_readings(
        Rounding::nearest,
        {{"0.0000000004", 0}, {"0.0000000005", 1}, {"-0.0000000005", -1}, {"1.00000000000000000000001", 1000000000}});
    expect_readings(
        Rounding::up,
        {{"0.0000000001", 1}, {"-0.0000000009", 0}, {"0.010", 10000000}, {"1.00000000000000000000001", 1000000001}});
}

TEST(ScaledDecimal, RefusesWhatIsNoNumber) {
    for (const char* text : {"",   ".",   "-",       "+",   "nan",         "inf",          "1.2.3",
                             "1e", "1e+", "1e-+3",   "1,5", "0x10",        "1 ",           " 1",
                             "1s", "--1", "1e99999", "e5",  "99999999999", "-99999999999", "9223372036.854775808"})
        EXPECT_FALSE(scaled_decimal(text, 9, Rounding::nearest)) << text;
}

TEST(WholeNumber, TakesWholeNumbersAlone) {
    EXPECT_EQ(whole_number("4575"), 4575);
    EXPECT_EQ(whole_number("+4575"), 4575);
    EXPECT_EQ(whole_number("-3"), -3);
    for (const char* text : {"", "+", "+-3", "4.0", "4e3", "nan", "9223372036854775808", "12 "})
        EXPECT_FALSE(whole_number(text)) << text;
}

TEST(FiniteNumber, TakesFiniteNumbersAlone) {
    EXPECT_EQ(finite_number("0.3275"), 0.3275);
    EXPECT_EQ(finite_number("+2"), 2.0);
    for (const char* text : {"", "nan", "NaN", "inf", "-inf", "1e999", "+-1", "0.3.1", "1x"})
        EXPECT_FALSE(finite_number(text)) << text;
}

}  // namespace
