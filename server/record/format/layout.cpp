#include "server/record/format/layout.hpp"

#include <algorithm>
#include <cmath>
#include <set>
#include <stdexcept>

#include "protocol/text/title.hpp"
#include "server/record/format/fixed_tables.hpp"

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
        clean.starts_with("rollup_") || clean.starts_with("stored_"))
        clean.insert(0, "t_"); // so that what a series has besides its view can never have the name of another's
    std::string candidate = clean;
    for (int number = 2; !taken.insert(candidate).second; ++number) candidate = clean + "_" + std::to_string(number);
    return candidate;
}

template <HasWords Enum>
void write_words(RowInsert<WordRow>& words, const std::string& enumeration) {
    for (std::size_t value = 0; value < kWords<Enum>.size(); ++value)
        words.write({enumeration, static_cast<std::int64_t>(value), std::string(kWords<Enum>[value])});
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
    std::string names = "t_ns, delay_ns, frame", places = "?, ?, ?";
    for (const std::string& name : column_sql_names) {
        names += ", " + identifier(name);
        places += ", ?";
    }
    return "INSERT INTO " + identifier(rows_name()) + " (" + names + ") VALUES (" + places + ")";
}

std::vector<StoredTable> name_tables(const Schema& schema) {
    std::set<std::string> taken{"meta",          "vehicle",       "site",      "link",       "series",
                                "series_column", "late_row",      "chunk",     "action",     "word",
                                "frame",         "event",         "chunk_utc", "frame_utc",  "event_utc",
                                "start",         "vehicle_file",  "recording", "own_column", "shared_columns",
                                "channels",      "flight_events", "flights",   "marks",      "alerts"};
    std::vector<StoredTable> stored;
    for (const Table& table : schema.tables) {
        StoredTable entry;
        entry.table = table;
        entry.sql_name = unique_name(table.name, taken);
        entry.rollup = rollup_shape(table.period_s);
        std::set<std::string> columns{"id", "t_ns", "delay_ns", "frame", "utc", "t_s"};
        for (const Column& column : table.columns) {
            entry.column_sql_names.push_back(unique_name(column.name, columns));
            if (!column.is_text) entry.codes.push_back(code_of(table.kind, column));
        }
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
    RowInsert<WordRow> words(database, kWordTable);
    write_words<FrameVerdict>(words, "frame_verdict");
    write_words<DecodeVerdict>(words, "decode_verdict");
    write_words<PacketVerdict>(words, "packet_verdict");
}

void describe_tables(Database& database, const std::vector<StoredTable>& tables) {
    RowInsert<StoredTable> series(database, kSeriesTable);
    RowInsert<SeriesColumnRow> own_column(database, kOwnColumnTable);
    RowInsert<SharedColumnsRow> shared_columns(database, kSharedColumnsTable);
    for (const StoredTable& stored : tables) {
        const Table& table = stored.table;
        if (table.columns.size() > kColumnsMax) {
            throw std::runtime_error("table " + table.name + " has " + std::to_string(table.columns.size()) +
                                     " columns; a recording holds at most " + std::to_string(kColumnsMax) +
                                     ": split the packet in the dictionary");
        }
        series.write(stored);
        const StoredTable& like = *std::ranges::find_if(tables, [&](const StoredTable& other) {
            return other.table.kind == table.kind && other.table.columns == table.columns;
        }); // the first: itself when there is none before it
        if (like.table.id != table.id) {
            shared_columns.write({.series = table.id, .columns_of = like.table.id});
            continue;
        }
        for (std::size_t i = 0; i < table.columns.size(); ++i)
            own_column.write({.series = table.id,
                              .place = static_cast<std::int64_t>(i),
                              .sql_name = stored.column_sql_names[i],
                              .column = table.columns[i],
                              .code = i < table.number_count ? stored.codes[i] : ColumnCode{}});
    }
}

bool has_table(Database& database, const std::string& name) {
    Statement found(database, "SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = ?");
    found.bind(1, std::string_view(name));
    return found.step();
}

void create_series(Database& database, const StoredTable& stored) {
    std::string cells, values;
    for (std::size_t i = 0; i < stored.column_sql_names.size(); ++i) {
        const std::string cell = identifier(stored.column_sql_names[i]);
        const bool is_text = i >= stored.table.number_count;
        cells += ", " + cell + (is_text ? " TEXT" : ""); // a type would turn integers and REALs into each other
        const std::string value = is_text ? cell : value_sql(cell, stored.codes[i]);
        values += ", " + value + (value == cell ? "" : " AS " + cell);
    }
    database.execute("CREATE TABLE " + identifier(stored.rows_name()) +
                     " (id INTEGER PRIMARY KEY, t_ns INTEGER NOT NULL, delay_ns INTEGER, frame INTEGER" + cells + ")");
    database.execute(
        "CREATE VIEW " + identifier(stored.sql_name) +
        " AS SELECT id, strftime('%Y-%m-%dT%H:%M:%S', (start.t_ns + data.t_ns) / 1000000000, 'unixepoch')"
        " || printf('.%09dZ', (start.t_ns + data.t_ns) % 1000000000) AS utc, data.t_ns / 1e9 AS t_s, frame" +
        values + " FROM " + identifier(stored.rows_name()) + " AS data, start");
}

void create_rollup(Database& database, const StoredTable& stored) {
    database.execute("CREATE TABLE " + identifier(stored.rollup_name()) +
                     " (key INTEGER PRIMARY KEY, rows INTEGER NOT NULL, data BLOB NOT NULL)");
}

std::string why_not_recordable(const Schema& schema) {
    try {
        Database database(":memory:", Database::Mode::create);
        database.execute(kSchemaSql);
        const std::vector<StoredTable> tables = name_tables(schema);
        describe_tables(database, tables);
        for (const StoredTable& table : tables) {
            create_series(database, table);
            create_rollup(database, table);
            // SQLite looks into a view when it is read.
            Statement(database, "SELECT * FROM " + identifier(table.sql_name)).run();
        }
        return "";
    } catch (const std::exception& error) {
        return error.what();
    }
}

std::vector<StoredTable> read_tables(Database& database) {
    std::vector<StoredTable> tables;
    const std::int64_t base_ns = time_base_ns(database);
    const bool is_indexed = database.integer("PRAGMA user_version") < 2;
    RowSelect<StoredTable> series(database, kSeriesTable, "ORDER BY id");
    while (series.step()) {
        StoredTable stored = series.row();
        stored.base_ns = base_ns;
        stored.is_indexed = is_indexed;
        // A damaged file must not choose the width of a shift.
        stored.rollup.shift = std::clamp(stored.rollup.shift, 12U, 52U);
        stored.rollup.levels = std::clamp(stored.rollup.levels, 1U, (62 - stored.rollup.shift) / 2);
        tables.push_back(std::move(stored));
    }
    RowSelect<SeriesColumnRow> columns(database, kSeriesColumnTable, "ORDER BY series, place");
    while (columns.step()) {
        SeriesColumnRow row = columns.row();
        const auto id = static_cast<std::size_t>(row.series);
        if (id >= tables.size())
            throw std::runtime_error("series_column names series " + std::to_string(id) + ", which is not in series");
        Column& column = row.column;
        if (column.title.empty()) column.title = title_from_name(column.name, column.unit); // layout 1 had none
        tables[id].column_sql_names.push_back(std::move(row.sql_name));
        if (!column.is_text) {
            ++tables[id].table.number_count;
            tables[id].codes.push_back(row.code);
        }
        tables[id].table.columns.push_back(std::move(column));
    }
    return tables;
}

std::int64_t newest_stored_time(Database& database, const std::vector<StoredTable>& tables) {
    const std::int64_t base_ns = time_base_ns(database);
    std::int64_t newest_ns = database.integer("SELECT t_ns FROM start");
    const auto look = [&](const std::string& table, const char* time, const char* order) {
        Statement last(database, "SELECT " + std::string(time) + " FROM " + identifier(table) + " ORDER BY " + order +
                                     " DESC LIMIT 1");
        if (last.step()) newest_ns = std::max(newest_ns, station_time_ns(last.integer(0), base_ns));
    };
    look("chunk", "t_rx_ns", "input");
    look("action", "t_ns", "input");
    look("event", "t_found_ns", "id");
    for (const StoredTable& table : tables)
        if (table.is_indexed)
            look(table.rows_name(), "t_rx_ns", "id");
        else if (has_table(database, table.rows_name()))
            look(table.rows_name(), "t_ns + ifnull(delay_ns, 0)", "id"); // without a delay: received with a chunk
    return newest_ns;
}

} // namespace turnstone
