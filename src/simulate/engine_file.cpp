#include "simulate/engine_file.hpp"

#include <filesystem>
#include <utility>

namespace kurbel::simulate {

namespace {

/// Moves into `over` what it does not have itself. Moved nodes keep the place in the file that they came from.
void fill_in(toml::table& over, toml::table& under) {
    for (auto&& [key, node] : under) {
        toml::node* mine = over.get(key.str());
        if (mine == nullptr) {
            const toml::key& name = key;  // clang 14 lets no lambda see a structured binding
            node.visit([&](auto& concrete) { over.insert(name, std::move(concrete)); });
        } else if (mine->is_table() && node.is_table()) {
            fill_in(*mine->as_table(), *node.as_table());
        }
    }
}

/// Teeth are told in one of two ways; who tells them anew means neither of the engine file's.
void forget_teeth(const toml::table& scenario, toml::table& engine) {
    const toml::table* own = scenario["crank_wheel"].as_table();
    toml::table* other = engine["crank_wheel"].as_table();
    if (own == nullptr || other == nullptr) return;
    if (!own->contains("positions") && !own->contains("tooth_angles_deg")) return;
    for (const char* key : {"positions", "absent", "tooth_angles_deg", "one_of"}) other->erase(key);
}

}  // namespace

read::TomlFile with_engine_file(read::TomlFile scenario) {
    const std::string name = read::text_or(scenario, scenario.root, "", "engine_file", "");
    if (scenario.root.get("engine_file") == nullptr) return scenario;
    if (name.empty()) read::fail_key(scenario, scenario.root, "", "engine_file", "must name a file");
    const std::filesystem::path path = std::filesystem::path(scenario.path).parent_path() / name;
    read::TomlFile engine = read::parse_toml(path.string());
    if (engine.root.get("engine_file") != nullptr)
        read::fail_key(engine, engine.root, "", "engine_file", "an engine file cannot name another");
    forget_teeth(scenario.root, engine.root);
    fill_in(scenario.root, engine.root);
    return scenario;
}

}  // namespace kurbel::simulate
