// Wheel files: written, read back, refused.
#include "kurbel/read/wheel_file.hpp"

#include <gtest/gtest.h>

#include "read/folder.hpp"

namespace kurbel::read {
namespace {

WheelFile sample() {
    WheelFile file;
    const int absent[] = {11};
    EXPECT_TRUE(make_even_wheel(12, absent, 1, file.wheel).ok());
    file.wheel.tdc1_deg = 60.0;
    file.errors.teeth = 11;
    for (int j = 0; j < 11; ++j) {
        file.errors.error_deg[static_cast<std::size_t>(j)] = 0.03F * static_cast<float>(j - 5);
        file.se_deg[static_cast<std::size_t>(j)] = 0.004F;
    }
    file.errors.rms_se_deg = 0.004F;
    file.revolutions = 200;
    return file;
}

std::string refusal(const std::string& path) {
    try {
        static_cast<void>(read_wheel_file(path));
    } catch (const InputError& error) {
        return error.what();
    }
    return "";
}

TEST(WheelFile, ReadsBackWhatWasWritten) {
    const test::Folder folder;
    const WheelFile file = sample();
    write_wheel_file(folder.file("wheel.toml"), file);
    const WheelFile back = read_wheel_file(folder.file("wheel.toml"));
    EXPECT_EQ(folder.entries(), 1);
    EXPECT_EQ(back.errors.teeth, 11);
    EXPECT_EQ(back.revolutions, 200);
    EXPECT_EQ(back.wheel.positions, 12);
    EXPECT_NEAR(back.errors.rms_se_deg, 0.004F, 1e-6F);
    for (std::size_t j = 0; j < 11; ++j) {
        EXPECT_NEAR(back.errors.error_deg[j], file.errors.error_deg[j], 5.1e-6F);
        EXPECT_NEAR(back.se_deg[j], file.se_deg[j], 5.1e-6F);
    }
}

TEST(WheelFile, GoesIntoTheConfigurationOfTheSameKindOfWheelAlone) {
    Config config;
    const int absent[] = {11};
    ASSERT_TRUE(make_even_wheel(12, absent, 1, config.crank_wheel).ok());
    use_wheel_file("w", sample(), config);
    EXPECT_EQ(config.wheel_errors.teeth, 11);
    const int other[] = {5};
    ASSERT_TRUE(make_even_wheel(12, other, 1, config.crank_wheel).ok());
    EXPECT_THROW(use_wheel_file("w", sample(), config), InputError);
}

TEST(WheelFile, NamesFileAndLineOfWhatIsWrong) {
    const test::Folder folder;
    write_wheel_file(folder.file("wheel.toml"), sample());
    const std::string good = folder.text("wheel.toml");
    const auto with = [&](const std::string& from, const std::string& to) {
        std::string text = good;
        text.replace(text.find(from), from.size(), to);
        folder.write("bad.toml", text);
        return refusal(folder.file("bad.toml"));
    };
    EXPECT_NE(with("contract = 1", "contract = 2").find("bad.toml:2"), std::string::npos);
    EXPECT_NE(with("-0.15000", "40.0").find("0.1 degrees between two teeth"), std::string::npos);
    EXPECT_NE(with("0.00400", "-0.004").find("must not be negative"), std::string::npos);
    EXPECT_NE(with("-0.15000, ", "").find("11 teeth, not 10"), std::string::npos);
    EXPECT_THROW(write_wheel_file(folder.file("no/such/wheel.toml"), sample()), InputError);
}

}  // namespace
}  // namespace kurbel::read
