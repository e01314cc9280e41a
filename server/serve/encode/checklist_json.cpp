#include "server/serve/encode/checklist_json.hpp"

#include <algorithm>
#include <string>
#include <utility>

#include <nlohmann/json.hpp>

#include "server/pipeline/checklist/check_tables.hpp"

namespace turnstone {
namespace {

using nlohmann::json;

const Table* table_of(const Schema& schema, const std::string& name) {
    const auto found = std::ranges::find(schema.tables, name, &Table::name);
    return found == schema.tables.end() ? nullptr : &*found;
}

json check_json(const Check& check, const Table* table) {
    Column measured;
    if (table != nullptr)
        if (const auto column = std::ranges::find(table->columns, check.id, &Column::name);
            column != table->columns.end())
            measured = *column;
    json out{{"id", check.id},
             {"title", check.title},
             {"why", check.why},
             {"severity", word(check.severity)},
             {"required", required_text(check, measured.unit, measured.decimals, measured.enumeration)}};
    if (check.subject == CheckSubject::statement) out["statement"] = true;
    if (check.subject == CheckSubject::entered) out["entered"] = check.name;
    if (!check.or_entered.empty()) out["entered"] = check.or_entered;
    if (is_of_figures(check)) {
        if (check.least) out["least"] = *check.least;
        if (check.most) out["most"] = *check.most;
    }
    if (const auto room = room_of(check)) out["room"] = *room;
    if (!check.value.empty() && check.value.link.empty()) {
        out["value"] = {{"table", check.value.table}, {"column", check.value.columns.front()}};
        if (!check.value.vehicle.empty()) out["value"]["vehicle"] = check.value.vehicle;
    }
    return out;
}

json checks_json(const std::vector<Check>& checks, const Table* table) {
    json out = json::array();
    for (const Check& check : checks) out.push_back(check_json(check, table));
    return out;
}

json steps_json(const Procedure& procedure) {
    json out = json::array();
    for (const Step& step : procedure.steps) {
        json checks = json::array();
        for (const std::size_t place : step.checks) checks.push_back(procedure.checks[place].id);
        out.push_back({{"id", step.id},
                       {"kind", word(step.kind)},
                       {"title", step.title},
                       {"text", step.text},
                       {"caution", step.caution},
                       {"checks", std::move(checks)}});
    }
    return out;
}

} // namespace

json procedures_json(const VehicleDescription& vehicle, const Schema& schema) {
    json out = json::array();
    for (const Procedure& procedure : vehicle.procedures)
        out.push_back(
            {{"id", procedure.id},
             {"title", procedure.title},
             {"steps", steps_json(procedure)},
             {"checks", checks_json(procedure.checks, table_of(schema, vehicle.name + "/procedure/" + procedure.id))}});
    return out;
}

json readiness_json(const VehicleDescription& vehicle, const Schema& schema) {
    if (!vehicle.readiness) return nullptr;
    const Table* const table = table_of(schema, vehicle.name + "/readiness");
    json groups = json::array(), positions = json::array();
    for (const CheckGroup& group : vehicle.readiness->groups)
        groups.push_back({{"title", group.title}, {"checks", checks_json(group.checks, table)}});
    for (const Position& position : vehicle.readiness->positions)
        positions.push_back({{"id", position.id}, {"title", position.title}});
    return {{"groups", std::move(groups)}, {"positions", std::move(positions)}};
}

} // namespace turnstone
