#include "server/record/read/engine_totals.hpp"

#include <algorithm>
#include <cmath>

#include <spdlog/spdlog.h>

#include "server/record/format/fixed_tables.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

namespace {

bool tells_engine_speed(const Dictionary& dictionary) {
    return std::ranges::any_of(
        dictionary.tables,
        [](const ChannelTable& table) {
            return std::ranges::any_of(
                table.channels, [](const Channel& channel) { return channel.role == Role::engine_speed; });
        });
}

/// The total the recording began with; NaN when it does not say.
double total_at_start_s(Database& database, const std::string& vehicle) {
    RowSelect<ActionRecord> actions(database, kActionTable, "ORDER BY input");
    double total_s = std::nan("");
    while (actions.step()) {
        const Action action = actions.row().action;
        const auto* total = std::get_if<EngineTotal>(&action);
        if (total != nullptr && total->vehicle == vehicle) total_s = total->running_s;
    }
    return total_s;
}

double total_in_s(Database& database, const std::string& vehicle) {
    if (!is_readable(database) || !database.text("SELECT value FROM meta WHERE key = 'reprocessed_from'").empty())
        return std::nan("");
    Statement live(database, "SELECT count(*) FROM link JOIN vehicle ON link.vehicle = vehicle.id "
                             "WHERE vehicle.name = ? AND link.uri NOT LIKE 'file:%'");
    live.bind(1, vehicle);
    if (!live.step() || live.integer(0) == 0) return std::nan("");
    const std::string series_name = vehicle + "/estimate/engine";
    // With its view, or the table of layout 1: an engine that never told its speed has neither.
    Statement series(database,
                     "SELECT sql_name FROM series WHERE name = ? AND sql_name IN (SELECT name FROM sqlite_schema)");
    series.bind(1, series_name);
    if (series.step()) {
        Statement row(database, "SELECT running_time_h FROM " + identifier(series.text(0)) +
                                    " WHERE running_time_h IS NOT NULL ORDER BY id DESC LIMIT 1");
        if (row.step()) return row.number(0) * 3600;
    }
    return total_at_start_s(database, vehicle);
}

} // namespace

std::optional<double> engine_running_s(const std::filesystem::path& directory, const std::string& vehicle) {
    std::optional<double> greatest_s;
    for (const std::filesystem::path& path : recording_files(directory)) {
        try {
            Database database(path, Database::Mode::read_only);
            const double total_s = total_in_s(database, vehicle);
            if (std::isfinite(total_s)) greatest_s = std::max(greatest_s.value_or(0), total_s);
        } catch (const SqliteError& error) {
            spdlog::warn("{}: its engine hours cannot be read: {}", path.string(), error.what());
        }
    }
    return greatest_s;
}

std::vector<Action> engine_totals(const std::filesystem::path& directory, const PipelineSetup& setup) {
    std::vector<Action> actions;
    for (const VehicleSetup& vehicle : setup.vehicles) {
        const std::string& name = vehicle.dictionary.vehicle;
        if (!tells_engine_speed(vehicle.dictionary)) continue;
        if (const auto running_s = engine_running_s(directory, name)) actions.push_back(EngineTotal{name, *running_s});
    }
    return actions;
}

} // namespace turnstone
