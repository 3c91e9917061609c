// Scenario files for one test each: written, read, and gone afterwards.
#pragma once

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <optional>
#include <string>

#include "kurbel/read/input_error.hpp"
#include "kurbel/simulate/scenario_file.hpp"

namespace kurbel::simulate::test {

class ScenarioText : public ::testing::Test {
  protected:
    ScenarioText() {
        const ::testing::TestInfo& info = *::testing::UnitTest::GetInstance()->current_test_info();
        path_ = std::filesystem::path(::testing::TempDir()) /
                (std::string("kurbel-") + info.test_suite_name() + "-" + info.name() + ".toml");
    }
    ~ScenarioText() override { std::filesystem::remove(path_); }

    void write(const std::string& text) const { std::ofstream(path_) << text; }
    [[nodiscard]] Scenario read(const std::string& text, std::optional<std::uint64_t> draw = {}) const {
        write(text);
        return read_scenario(path_.string(), draw);
    }

    /// Message of the InputError that reading `text` must throw.
    [[nodiscard]] std::string complaint(const std::string& text) const {
        try {
            static_cast<void>(read(text));
        } catch (const read::InputError& error) {
            return error.what();
        }
        return "no error";
    }

    std::filesystem::path path_;
};

}  // namespace kurbel::simulate::test
