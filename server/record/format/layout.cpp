#include "server/record/format/layout.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <set>
#include <stdexcept>

#include <nlohmann/json.hpp>

#include "protocol/dictionary/title.hpp"
#include "server/pipeline/events.hpp"
#include "server/record/format/sqlite.hpp"

namespace turnstone {

namespace {

/// A word of `taken` gets a number behind it; the result is added to `taken`.
std::string unique_name(std::string_view name, std::set<std::string>& taken) {
    std::string clean;
    for (const char c : name) {
        const bool upper = c >= 'A' && c <= 'Z';
        const bool kept = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_';
        clean += upper ? static_cast<char>(c - 'A' + 'a') : kept ? c : '_';
    }
    if (clean.empty() || (clean[0] >= '0' && clean[0] <= '9') || clean.starts_with("sqlite_") ||
        clean.starts_with("rollup_"))
        clean.insert(0, "t_");
    std::string candidate = clean;
    for (int number = 2; !taken.insert(candidate).second; ++number) candidate = clean + "_" + std::to_string(number);
    return candidate;
}

std::string enumeration_to_json(const Enumeration& enumeration) {
    nlohmann::json json = nlohmann::json::object();
    for (const auto& [value, word] : enumeration) json[std::to_string(value)] = word;
    return json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
}

Enumeration enumeration_from_json(const std::string& text) {
    Enumeration enumeration;
    const auto json = nlohmann::json::parse(text, nullptr, false);
    if (!json.is_object()) return enumeration;
    for (const auto& [value, word] : json.items())
        if (word.is_string()) enumeration[std::strtoll(value.c_str(), nullptr, 10)] = word.get<std::string>();
    return enumeration;
}

template <HasWords Enum>
void write_words(Statement& insert, std::string_view enumeration) {
    for (std::size_t value = 0; value < kWords<Enum>.size(); ++value) {
        insert.bind(1, enumeration);
        insert.bind(2, static_cast<std::int64_t>(value));
        insert.bind(3, kWords<Enum>[value]);
        insert.run();
    }
}

} // namespace

RollupShape rollup_shape(double period_s) noexcept {
    const double period =
        std::isfinite(period_s) && period_s > 0 ? std::clamp(period_s, 1e-6, 3600.0) : kSporadicPeriod_s;
    const auto shift = static_cast<unsigned>(std::lround(std::log2(period * 1e9 * kRowsPerFinestBin)));
    // Up to bins of 18 minutes or wider: a recording of a month is then two thousand bins.
    constexpr unsigned kShiftOfCoarsest = 40;
    return {shift, shift >= kShiftOfCoarsest ? 1 : (kShiftOfCoarsest - shift + 1) / 2 + 1};
}

std::string StoredTable::insert_sql() const {
    std::string sql = "INSERT INTO " + identifier(sql_name) + " VALUES (NULL, ?, ?, ?";
    for (std::size_t i = 0; i < column_sql_names.size(); ++i) sql += ", ?";
    return sql + ")";
}

std::vector<StoredTable> name_tables(const Schema& schema) {
    std::set<std::string> taken{"meta",      "vehicle",   "site",  "link",         "series",    "series_column",
                                "chunk",     "action",    "word",  "frame",        "event",     "chunk_utc",
                                "frame_utc", "event_utc", "start", "chunk_stream", "event_time"};
    std::vector<StoredTable> stored;
    for (const Table& table : schema.tables) {
        StoredTable entry{table, unique_name(table.name, taken), {}, rollup_shape(table.period_s)};
        // Its view and index share the name space.
        taken.insert(entry.sql_name + "_utc");
        taken.insert(entry.sql_name + "_time");
        std::set<std::string> columns{"id", "t_ns", "t_rx_ns", "frame", "utc", "t_s"};
        for (const Column& column : table.columns) entry.column_sql_names.push_back(unique_name(column.name, columns));
        stored.push_back(std::move(entry));
    }
    return stored;
}

bool is_readable(Database& database) {
    const std::int64_t version = database.integer("PRAGMA user_version");
    return database.integer("PRAGMA application_id") == kApplicationId && version >= kLayoutVersionOldest &&
           version <= kLayoutVersion;
}

void write_words(Database& database) {
    Statement insert(database, "INSERT INTO word VALUES (?, ?, ?)");
    write_words<FrameVerdict>(insert, "frame_verdict");
    write_words<DecodeVerdict>(insert, "decode_verdict");
    write_words<PacketVerdict>(insert, "packet_verdict");
}

void create_tables(Database& database, const std::vector<StoredTable>& tables) {
    Statement series(database, "INSERT INTO series VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)");
    Statement series_column(database, "INSERT INTO series_column VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)");
    for (const StoredTable& stored : tables) {
        const Table& table = stored.table;
        if (table.columns.size() > kColumnsMax) {
            throw std::runtime_error("table " + table.name + " has " + std::to_string(table.columns.size()) +
                                     " columns; a recording holds at most " + std::to_string(kColumnsMax) +
                                     ": split the packet in the dictionary");
        }
        series.bind(1, std::int64_t{table.id});
        series.bind(2, table.name);
        series.bind(3, stored.sql_name);
        series.bind(4, table.title);
        series.bind(5, word(table.kind));
        if (table.vehicle < 0)
            series.bind_null(6);
        else
            series.bind(6, std::int64_t{table.vehicle});
        series.bind(7, table.period_s);
        series.bind(8, std::int64_t{stored.rollup.shift});
        series.bind(9, std::int64_t{stored.rollup.levels});
        series.run();

        std::string columns_sql;
        std::string view_columns;
        for (std::size_t i = 0; i < table.columns.size(); ++i) {
            const Column& column = table.columns[i];
            const std::string enumeration_text = enumeration_to_json(column.enumeration);
            series_column.bind(1, std::int64_t{table.id});
            series_column.bind(2, static_cast<std::int64_t>(i));
            series_column.bind(3, column.name);
            series_column.bind(4, stored.column_sql_names[i]);
            series_column.bind(5, column.title);
            series_column.bind(6, std::int64_t{column.is_text});
            series_column.bind(7, column.unit);
            series_column.bind(8, column.description);
            series_column.bind(9, column.group);
            series_column.bind(10, std::int64_t{column.decimals});
            if (column.valid_range) {
                series_column.bind(11, column.valid_range->first);
                series_column.bind(12, column.valid_range->second);
            } else {
                series_column.bind_null(11);
                series_column.bind_null(12);
            }
            series_column.bind(13, enumeration_text);
            if (column.role.empty())
                series_column.bind_null(14);
            else
                series_column.bind(14, column.role);
            series_column.bind(15, column.sigma_column);
            series_column.run();
            columns_sql += ",\n  " + identifier(stored.column_sql_names[i]) + (column.is_text ? " TEXT" : " REAL");
            view_columns += ", " + identifier(stored.column_sql_names[i]);
        }
        database.execute("CREATE TABLE " + identifier(stored.sql_name) +
                         " (\n  id INTEGER PRIMARY KEY,\n  t_ns INTEGER NOT NULL,\n  t_rx_ns INTEGER NOT NULL,\n"
                         "  frame INTEGER" +
                         columns_sql + ")");
        database.execute("CREATE INDEX " + identifier(stored.sql_name + "_time") + " ON " +
                         identifier(stored.sql_name) + " (t_ns)");
        database.execute("CREATE VIEW " + identifier(stored.sql_name + "_utc") +
                         " AS SELECT strftime('%Y-%m-%dT%H:%M:%S', t_ns / 1000000000, 'unixepoch') || "
                         "printf('.%09dZ', t_ns % 1000000000) AS utc, (t_ns - (SELECT t_ns FROM start)) / 1e9 AS t_s" +
                         view_columns + " FROM " + identifier(stored.sql_name));
        database.execute("CREATE TABLE " + identifier(stored.rollup_name()) +
                         " (key INTEGER PRIMARY KEY, rows INTEGER NOT NULL, data BLOB NOT NULL)");
    }
}

std::vector<StoredTable> read_tables(Database& database) {
    std::vector<StoredTable> tables;
    Statement series(database, "SELECT id, name, sql_name, title, kind, vehicle, period_s, rollup_shift, rollup_levels "
                               "FROM series ORDER BY id");
    while (series.step()) {
        StoredTable stored;
        stored.table.id = static_cast<TableId>(series.integer(0));
        stored.table.name = series.text(1);
        stored.sql_name = series.text(2);
        stored.table.title = series.text(3);
        stored.table.kind = from_word<TableKind>(series.text(4)).value_or(TableKind::packet);
        stored.table.vehicle = series.is_null(5) ? -1 : static_cast<int>(series.integer(5));
        stored.table.period_s = series.number(6);
        // A damaged file must not choose the width of a shift.
        stored.rollup.shift = static_cast<unsigned>(std::clamp<std::int64_t>(series.integer(7), 12, 52));
        const std::int64_t levels_max = (62 - std::int64_t{stored.rollup.shift}) / 2;
        stored.rollup.levels = static_cast<unsigned>(std::clamp<std::int64_t>(series.integer(8), 1, levels_max));
        tables.push_back(std::move(stored));
    }
    const bool has_titles = database.integer("PRAGMA user_version") >= 2;
    Statement columns(database, std::string("SELECT series, name, sql_name, is_text, unit, description, display_group, "
                                            "decimals, valid_min, valid_max, enumeration, role, sigma_column") +
                                    (has_titles ? ", title" : "") + " FROM series_column ORDER BY series, place");
    while (columns.step()) {
        const auto id = static_cast<std::size_t>(columns.integer(0));
        if (id >= tables.size())
            throw std::runtime_error("series_column names series " + std::to_string(id) + ", which is not in series");
        Column column;
        column.name = columns.text(1);
        column.is_text = columns.integer(3) != 0;
        column.unit = columns.text(4);
        column.description = columns.text(5);
        column.group = columns.text(6);
        column.decimals = static_cast<int>(columns.integer(7));
        if (!columns.is_null(8) && !columns.is_null(9)) column.valid_range = {columns.number(8), columns.number(9)};
        column.enumeration = enumeration_from_json(columns.text(10));
        if (!columns.is_null(11)) column.role = columns.text(11);
        column.sigma_column = columns.text(12);
        column.title = has_titles ? columns.text(13) : title_from_name(column.name, column.unit);
        tables[id].column_sql_names.push_back(columns.text(2));
        if (!column.is_text) ++tables[id].table.number_count;
        tables[id].table.columns.push_back(std::move(column));
    }
    return tables;
}

std::int64_t newest_stored_time(Database& database, const std::vector<StoredTable>& tables) {
    std::int64_t newest_ns = database.integer("SELECT t_ns FROM start");
    const auto look = [&](const std::string& table, const char* time, const char* order) {
        newest_ns = std::max(newest_ns, database.integer("SELECT " + std::string(time) + " FROM " + identifier(table) +
                                                             " ORDER BY " + order + " DESC LIMIT 1",
                                                         newest_ns));
    };
    look("chunk", "t_rx_ns", "input");
    look("action", "t_ns", "input");
    look("event", "t_found_ns", "id");
    for (const StoredTable& table : tables) look(table.sql_name, "t_rx_ns", "id");
    return newest_ns;
}

FrameRecord read_frame(const Statement& statement, int column) {
    const auto known = [&](int place) {
        return statement.is_null(place) ? std::int64_t{-1} : statement.integer(place);
    };
    return {.link = static_cast<LinkId>(statement.integer(column)),
            .t_rx_ns = statement.integer(column + 1),
            .stream_offset = static_cast<std::uint64_t>(statement.integer(column + 2)),
            .link_octets = static_cast<std::uint32_t>(statement.integer(column + 3)),
            .frame_verdict = from_number<FrameVerdict>(statement.integer(column + 4)), // a damaged file may hold any
            .decode_verdict = from_number<DecodeVerdict>(statement.integer(column + 5)),
            .packet_verdict = from_number<PacketVerdict>(statement.integer(column + 6)),
            .apid = static_cast<std::int32_t>(known(column + 7)),
            .sequence_count = static_cast<std::int32_t>(known(column + 8)),
            .onboard_ns = known(column + 9),
            .boot = static_cast<std::uint32_t>(statement.integer(column + 10))};
}

Event read_event(const Statement& statement, int column) {
    return {.t_ns = statement.integer(column),
            .t_found_ns = statement.integer(column + 1),
            .t_sigma_s = statement.number(column + 2),
            .kind = from_word<EventKind>(statement.text(column + 3)).value_or(EventKind::note),
            .level = from_word<Level>(statement.text(column + 4)).value_or(Level::note),
            .vehicle = statement.is_null(column + 5) ? -1 : static_cast<int>(statement.integer(column + 5)),
            .key = statement.text(column + 6),
            .text = statement.text(column + 7),
            .values = event_values_from_json(statement.text(column + 8))};
}

} // namespace turnstone
