#include "server/pipeline/checklist/readiness.hpp"

#include <set>
#include <utility>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/pipeline/checklist/check_reader.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kGroupsMax = 16;
constexpr std::size_t kPositionsMax = 24;

} // namespace

Readiness read_readiness(const nlohmann::json& json, const std::string& file, std::vector<Problem>& problems) {
    Readiness out;
    JsonReader in(json, file, problems);
    if (!in.is_object()) {
        in.problem("is not an object", "give groups and positions");
        return out;
    }
    in.ignore("$schema");
    std::set<std::string> taken;
    std::vector<JsonReader> readers;
    for (JsonReader& each : in.array("groups", 1, kGroupsMax)) {
        CheckGroup group{.title = each.text("title"), .checks = {}};
        for (JsonReader& check : each.array("checks", 1, kChecksMax)) {
            group.checks.push_back(read_check(check, taken));
            readers.push_back(std::move(check));
        }
        each.finish();
        out.groups.push_back(std::move(group));
    }
    std::vector<Check*> all;
    for (CheckGroup& group : out.groups)
        for (Check& check : group.checks) all.push_back(&check);
    find_statements(readers, all);
    if (taken.size() > kChecksMax)
        in.problem_at("groups", "have " + std::to_string(taken.size()) + " checks",
                      "give at most " + std::to_string(kChecksMax) + " in all");
    taken.clear();
    for (JsonReader& each : in.array_if("positions", kPositionsMax)) {
        Position position{.id = unique_name(each, "id", taken), .title = each.text("title")};
        each.finish();
        out.positions.push_back(std::move(position));
    }
    in.finish();
    return out;
}

std::vector<const Check*> checks_of(const Readiness& readiness) {
    std::vector<const Check*> out;
    for (const CheckGroup& group : readiness.groups)
        for (const Check& check : group.checks) out.push_back(&check);
    return out;
}

} // namespace turnstone
