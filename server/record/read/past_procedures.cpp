#include "server/record/read/past_procedures.hpp"

#include <algorithm>
#include <map>
#include <utility>

#include <spdlog/spdlog.h>

#include "server/record/format/fixed_tables.hpp"
#include "server/record/read/received_hash.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

namespace {

using Of = std::pair<std::string, std::string>; ///< vehicle, procedure

struct Past {
    PastProcedure said;
    std::filesystem::path file = {}; ///< in which it was passed last
};

template <class Value>
Value value_of(const Event& event, std::string_view name) {
    for (const EventValue& value : event.values)
        if (value.name == name && std::holds_alternative<Value>(value.value)) return std::get<Value>(value.value);
    return {};
}

bool counts(Database& database) {
    return is_readable(database) && database.text("SELECT value FROM meta WHERE key = 'reprocessed_from'").empty() &&
           !database.text("SELECT value FROM meta WHERE key = 'ended'").empty() &&
           database.integer("SELECT count(*) FROM link WHERE uri LIKE 'file:%'") == 0;
}

void read_events(const std::filesystem::path& path, std::map<Of, Past>& past) {
    Database database(path, Database::Mode::read_only);
    if (!counts(database)) return;
    std::vector<std::string> vehicles;
    RowSelect<VehicleRow> rows(database, kVehicleTable, "ORDER BY id");
    while (rows.step()) vehicles.push_back(rows.row().name);
    RowSelect<EventRow> events(database, kEventTable, "WHERE kind = 'procedure' ORDER BY id");
    while (events.step()) {
        const Event event = events.row().event;
        if (event.vehicle < 0 || static_cast<std::size_t>(event.vehicle) >= vehicles.size()) continue;
        const Of of{vehicles[static_cast<std::size_t>(event.vehicle)], value_of<std::string>(event, "procedure")};
        const bool begun = event.id == EventId::procedure_begun;
        const std::string verdict =
            event.id == EventId::procedure_ended ? value_of<std::string>(event, "verdict") : std::string();
        const bool passed = verdict == "passed", failed = verdict == "failed";
        if (!begun && !passed && !failed) continue;
        Past& known =
            past.try_emplace(of, Past{{.vehicle = of.first, .procedure = of.second, .runs = 0}}).first->second;
        if (begun) known.said.runs = std::max(known.said.runs, value_of<double>(event, "run"));
        if (failed) known.said.failed_ns = std::max(known.said.failed_ns, std::optional(event.t_ns));
        if (passed && (!known.said.passed_ns || *known.said.passed_ns < event.t_ns)) {
            known.said.passed_ns = event.t_ns;
            known.said.recording = path.stem().string();
            known.said.waived = value_of<std::vector<std::string>>(event, "waived");
            known.file = path;
        }
    }
}

bool has_procedure(const PipelineSetup& setup, const Of& of) {
    return std::ranges::any_of(
        setup.vehicles,
        [&](const VehicleSetup& vehicle) {
            return vehicle.dictionary.vehicle == of.first &&
                   std::ranges::find(vehicle.procedures, of.second, &Procedure::id) != vehicle.procedures.end();
        });
}

} // namespace

std::vector<Action> past_procedures(const std::filesystem::path& directory, const PipelineSetup& setup) {
    std::vector<Action> actions;
    if (std::ranges::all_of(setup.vehicles, [](const VehicleSetup& vehicle) { return vehicle.procedures.empty(); }))
        return actions;
    std::map<Of, Past> past;
    for (const std::filesystem::path& path : recording_files(directory)) {
        try {
            read_events(path, past);
        } catch (const SqliteError& error) {
            spdlog::warn("{}: what it says of procedures cannot be read: {}", path.string(), error.what());
        }
    }
    for (auto& [of, known] : past) {
        if (!has_procedure(setup, of)) continue;
        if (!known.file.empty()) {
            if (auto hash = received_sha256(known.file))
                known.said.sha256 = std::move(*hash);
            else
                spdlog::warn("{}", hash.error().message);
        }
        actions.emplace_back(std::move(known.said));
    }
    return actions;
}

} // namespace turnstone
