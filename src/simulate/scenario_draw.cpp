#include "simulate/scenario_draw.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

#include "kurbel/core/fnv.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/simulate/random.hpp"
#include "simulate/engine_file.hpp"

namespace kurbel::simulate {

namespace {

class Drawer {
  public:
    Drawer(const read::TomlFile& file, std::uint64_t draw) : file_(file), draw_(draw) {}

    void table(toml::table& table, const std::string& place) {
        if (table.contains("one_of")) join_one_of(table, place);
        for (auto& [key, node] : table) {
            const std::string here = place.empty() ? std::string(key.str()) : place + "." + std::string(key.str());
            if (const toml::table* range = range_in(node)) {
                replace(*range, here,
                        [&, name = std::string(key.str())](const auto& value) { table.insert_or_assign(name, value); });
            } else if (toml::table* inner = node.as_table()) {
                this->table(*inner, here);
                continue;
            }
            if (toml::array* list = table.at(key.str()).as_array()) array(*list, here);
        }
    }

  private:
    void array(toml::array& list, const std::string& place) {
        for (std::size_t i = 0; i < list.size(); ++i) {
            const std::string here = place + "[" + std::to_string(i) + "]";
            if (const toml::table* range = range_in(list[i]))
                replace(*range, here, [&](const auto& value) {
                    list.insert(list.begin() + static_cast<std::ptrdiff_t>(i), value);
                    list.erase(list.begin() + static_cast<std::ptrdiff_t>(i) + 1);
                });
            else if (toml::table* inner = list[i].as_table())
                table(*inner, here);
            if (toml::array* inner = list[i].as_array()) array(*inner, here);
        }
    }

    /// The table in `node` that stands for a drawn value; none where it is anything else. A [table] that chooses among
    /// sets of keys is no value.
    [[nodiscard]] static const toml::table* range_in(const toml::node& node) {
        const toml::table* table = node.as_table();
        if (table == nullptr) return nullptr;
        const bool between = table->contains("from") && table->contains("to");
        const toml::array* list = table->contains("one_of") ? table->get("one_of")->as_array() : nullptr;
        const bool values =
            table->contains("one_of") && (list == nullptr || list->empty() || !list->front().is_table());
        return between || values ? table : nullptr;
    }

    /// Uniform in [0, 1) for this place, or for all of the same `as`.
    [[nodiscard]] double uniform(const toml::table& range, const std::string& place) const {
        const std::string name = read::text_or(file_, range, place, "as", "");
        const std::string stream = name.empty() ? "place " + place : "as " + name;
        return Random(draw_, fnv1a(stream.data(), stream.size())).uniform();
    }

    [[nodiscard]] std::size_t pick(const toml::table& range, const std::string& place) const {
        const toml::array* list = range.get("one_of")->as_array();
        if (list == nullptr || list->empty()) read::fail_at(file_, range, place + ".one_of: must be a list of values");
        return static_cast<std::size_t>(uniform(range, place) * static_cast<double>(list->size()));
    }

    template <class Assign>
    void replace(const toml::table& range, const std::string& place, Assign assign) const {
        if (range.contains("one_of")) {
            read::refuse_unknown_keys(file_, range, place, {"one_of", "as"});
            const std::size_t chosen = pick(range, place);
            const toml::array copy = *range.get("one_of")->as_array();  // the range goes when it is replaced
            copy[chosen].visit([&](const auto& value) { assign(value); });
            return;
        }
        read::refuse_unknown_keys(file_, range, place, {"from", "to", "whole", "as"});
        const double from = read::required_number(file_, range, place, "from");
        const double to = read::required_number(file_, range, place, "to");
        const double share = uniform(range, place);
        if (!read::boolean_or(file_, range, place, "whole", false)) {
            assign(from + (to - from) * share);
            return;
        }
        const double low = std::ceil(std::min(from, to));
        const double high = std::floor(std::max(from, to));
        constexpr double kMostWhole = 9007199254740992.0;  // beyond, doubles skip whole numbers
        if (low < -kMostWhole || high > kMostWhole)
            read::fail_at(file_, range, place + ": is too wide for whole numbers");
        if (low > high) read::fail_at(file_, range, place + ": holds no whole number");
        const double along = from <= to ? share : 1.0 - share;
        assign(static_cast<std::int64_t>(std::min(high, low + std::floor(along * (high - low + 1.0)))));
    }

    /// [table] one_of = [{...}, ...]: the chosen keys join the table's own, which win.
    void join_one_of(toml::table& table, const std::string& place) const {
        const std::size_t chosen = pick(table, place);
        const toml::array list = *table.get("one_of")->as_array();
        const toml::table* set = list[chosen].as_table();
        if (set == nullptr)
            read::fail_at(file_, list[chosen], place + ".one_of: must list sets of keys, as the first one is");
        const toml::table keys = *set;
        table.erase("one_of");
        table.erase("as");
        for (const auto& [key, node] : keys)
            if (!table.contains(key.str()))
                node.visit([&, name = key.str()](const auto& value) { table.insert(name, value); });
    }

    const read::TomlFile& file_;
    std::uint64_t draw_;
};

}  // namespace

void draw_ranges(read::TomlFile& file, std::uint64_t draw) { Drawer(file, draw).table(file.root, ""); }

read::TomlFile parse_scenario(const std::string& path, std::optional<std::uint64_t> draw) {
    read::TomlFile file = read::parse_toml(path);
    long long seed = 1;
    if (const toml::table* run = read::find_table(file, "scenario"))
        seed = read::integer_or(file, *run, "scenario", "draw", 1);
    const std::uint64_t used = draw.value_or(static_cast<std::uint64_t>(std::max(0LL, seed)));
    // Before, because the engine file itself may be one of several; after, because it may hold ranges too.
    draw_ranges(file, used);
    file = with_engine_file(std::move(file));
    draw_ranges(file, used);
    file.root.erase("engine_file");
    return file;
}

}  // namespace kurbel::simulate
