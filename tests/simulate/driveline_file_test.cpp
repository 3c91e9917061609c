// What the reference scenario shows behind a # of flywheel, gears, tyres and road: it can be read, and is the default.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <sstream>

#include "kurbel/simulate/scenario_file.hpp"

namespace kurbel::simulate {
namespace {

/// The reference with the tables between "[dual_mass_flywheel]" or "Gears" and the next table uncommented.
std::string uncommented(const std::filesystem::path& path) {
    std::ifstream file(path);
    std::string text;
    bool inside = false;
    for (std::string line; std::getline(file, line);) {
        if (line.rfind("# [dual_mass_flywheel]", 0) == 0 || line.rfind("# [gearbox]", 0) == 0) inside = true;
        if (line.rfind("[", 0) == 0) inside = false;
        if (line == "mode = \"neutral\"") line = "mode = \"road\"";
        text += (inside && line.rfind("# ", 0) == 0 ? line.substr(2) : line) + "\n";
    }
    return text;
}

TEST(ReferenceScenario, ShowsTheDrivelineAsItIs) {
    const std::filesystem::path reference = std::filesystem::path(KURBEL_DATASETS) / "scenarios" / "reference.toml";
    const std::filesystem::path path = std::filesystem::path(::testing::TempDir()) / "kurbel-reference-driveline.toml";
    std::ofstream(path) << uncommented(reference);
    const Scenario shown = read_scenario(path.string());
    std::filesystem::remove(path);
    const Scenario plain;

    EXPECT_GT(shown.dual_mass.secondary_kg_m2, 0.0);
    EXPECT_EQ(shown.dual_mass.hz, plain.dual_mass.hz);
    EXPECT_EQ(shown.dual_mass.damping_ratio, plain.dual_mass.damping_ratio);
    EXPECT_EQ(shown.dual_mass.hysteresis_nm, plain.dual_mass.hysteresis_nm);
    const GearboxSettings& box = shown.gearbox;
    EXPECT_EQ(box.ratios.size(), 5U);
    EXPECT_EQ(box.final_drive, plain.gearbox.final_drive);
    EXPECT_EQ(box.clutch.at(0.0), plain.gearbox.clutch.at(0.0));
    EXPECT_EQ(box.clutch_nm, plain.gearbox.clutch_nm);
    EXPECT_EQ(box.clutch_open_s, plain.gearbox.clutch_open_s);
    EXPECT_EQ(box.change_s, plain.gearbox.change_s);
    EXPECT_EQ(box.clutch_close_s, plain.gearbox.clutch_close_s);
    EXPECT_EQ(box.change_nm, plain.gearbox.change_nm);
    EXPECT_EQ(box.change_load, plain.gearbox.change_load);
    EXPECT_EQ(box.idle_rpm, plain.gearbox.idle_rpm);
    EXPECT_EQ(box.shaft_nm_rad, plain.gearbox.shaft_nm_rad);
    EXPECT_EQ(box.shaft_nm_s_rad, plain.gearbox.shaft_nm_s_rad);
    EXPECT_EQ(box.wheel_kg_m2, plain.gearbox.wheel_kg_m2);
    EXPECT_GT(shown.converter.pump_nm_s2, 0.0);
    EXPECT_EQ(shown.converter.torque_ratio, plain.converter.torque_ratio);
    EXPECT_EQ(shown.converter.coupling_ratio, plain.converter.coupling_ratio);
    EXPECT_TRUE(shown.tyre.on);
    EXPECT_EQ(shown.tyre.slip_stiffness_n, plain.tyre.slip_stiffness_n);
    EXPECT_EQ(shown.tyre.relaxation_m, plain.tyre.relaxation_m);
    EXPECT_EQ(shown.tyre.axle_kg, plain.tyre.axle_kg);
    EXPECT_EQ(shown.tyre.grip, plain.tyre.grip);
    EXPECT_EQ(shown.brake.driven_share, plain.brake.driven_share);
    EXPECT_EQ(shown.road.kind, RoadKind::random);
    EXPECT_EQ(shown.road.roughness_m3, plain.road.roughness_m3);
    EXPECT_EQ(shown.road.height_m, plain.road.height_m);
    EXPECT_EQ(shown.road.wavelength_m, plain.road.wavelength_m);
    EXPECT_EQ(shown.road.length_m, plain.road.length_m);
    EXPECT_EQ(shown.road.edge_m, plain.road.edge_m);
    EXPECT_EQ(shown.road.every_m, plain.road.every_m);
    EXPECT_EQ(shown.road.patch_m, plain.road.patch_m);
    EXPECT_EQ(shown.road.unsprung_kg, plain.road.unsprung_kg);
    EXPECT_EQ(shown.road.tyre_n_m, plain.road.tyre_n_m);
    EXPECT_EQ(shown.road.suspension_n_m, plain.road.suspension_n_m);
    EXPECT_EQ(shown.road.suspension_n_s_m, plain.road.suspension_n_s_m);
    EXPECT_EQ(shown.road.hub_hz, plain.road.hub_hz);
    EXPECT_EQ(shown.road.hub_damping, plain.road.hub_damping);
    EXPECT_EQ(shown.road.radius_share, plain.road.radius_share);
    ASSERT_EQ(shown.accessories.size(), 1U);
    EXPECT_EQ(shown.accessories[0].rise_s, AccessoryLoad{}.rise_s);
}

}  // namespace
}  // namespace kurbel::simulate
