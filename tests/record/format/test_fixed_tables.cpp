/// The lists of columns against the tables that schema.sql makes and those that an older version made. SQLite itself
/// says what the tables are: https://www.sqlite.org/pragma.html#pragma_table_info.
#include <algorithm>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "server/record/format/fixed_tables.hpp"
#include "tests/support/older_recording.hpp"
#include "tests/support/temporary_folder.hpp"

namespace turnstone {
namespace {

using Names = std::vector<std::string>;

Names texts(Database& database, const std::string& sql) {
    Names out;
    Statement statement(database, sql);
    while (statement.step()) out.push_back(statement.text(0));
    return out;
}

Names columns_in(Database& database, std::string_view table) {
    return texts(database, "SELECT name FROM pragma_table_info('" + std::string(table) + "') ORDER BY cid");
}

template <class Row>
Names columns_of(const FixedTable<Row>& table, std::int64_t layout) {
    Names out;
    for (const StoredColumn<Row>& column : table.columns)
        if (column.is_in(layout)) out.emplace_back(column.name);
    return out;
}

template <class Check>
void for_each_table(Check&& check) {
    check(kMetaTable);
    check(kVehicleTable);
    check(kVehicleFileTable);
    check(kSiteTable);
    check(kLinkTable);
    check(kSeriesTable);
    check(kSeriesColumnTable);
    check(kOwnColumnTable);
    check(kSharedColumnsTable);
    check(kLateRowTable);
    check(kChunkTable);
    check(kActionTable);
    check(kWordTable);
    check(kFrameTable);
    check(kEventTable);
}

Database new_database() {
    Database database(":memory:", Database::Mode::create);
    database.execute(kSchemaSql);
    return database;
}

Event an_event() {
    return {.id = EventId::apogee,
            .t_ns = 5,
            .t_found_ns = 7,
            .t_sigma_s = 0.25,
            .kind = EventKind::flight_event,
            .level = Level::advisory,
            .vehicle = -1,
            .key = "sanderling/flight/apogee",
            .text = "Apogee",
            .values = {{"height_m", 1034.5}}};
}

TEST_CASE("the lists of columns are the tables of schema.sql, each column in its place") {
    Database database = new_database();
    Names listed;
    for_each_table([&](const auto& table) {
        INFO(table.name);
        CHECK(columns_of(table, kLayoutVersion) == columns_in(database, table.name));
        listed.emplace_back(table.name);
    });
    std::ranges::sort(listed);
    CHECK(
        listed ==
        texts(database, "SELECT name FROM sqlite_schema WHERE type = 'table' OR name = 'series_column' ORDER BY name"));
}

TEST_CASE("the columns of an older layout are known, those it lacks and those it alone has") {
    const test::TemporaryFolder folder;
    test::write_older_recording(folder.recording("older"));
    Database database(folder.recording("older"), Database::Mode::read_only);
    REQUIRE(database.integer("PRAGMA user_version") == 1);
    for_each_table([&](const auto& table) {
        INFO(table.name);
        const Names stored = columns_in(database, table.name);
        if (table.name == "word" || table.name == "own_column" || table.name == "shared_columns")
            CHECK(stored.empty()); // nothing reads them
        else
            CHECK(columns_of(table, 1) == stored);
    });
}

TEST_CASE("rows are written and read by the names of their columns, whatever their order in the file") {
    Database database = new_database();
    SECTION("as schema.sql has it") {}
    SECTION("turned round") {
        Names names = columns_in(database, "event");
        std::string columns;
        for (auto name = names.rbegin(); name != names.rend(); ++name)
            columns += (columns.empty() ? "" : ", ") + *name + (*name == "id" ? " INTEGER PRIMARY KEY" : "");
        database.execute("DROP TABLE event; CREATE TABLE event (" + columns + ")");
    }
    const Event event = an_event();
    RowInsert<EventRow> writer(database, kEventTable);
    writer.write({0, event});
    writer.write({0, event});
    CHECK(database.text("SELECT event || ' ' || kind || ' ' || level || ' ' || t_found_ns FROM event") ==
          "apogee flight_event advisory 7");
    RowSelect<EventRow> reader(database, kEventTable, "ORDER BY id");
    for (std::int64_t id = 1; id <= 2; ++id) {
        REQUIRE(reader.step());
        CHECK(reader.row().id == id);
        CHECK(reader.row().event == event);
    }
    CHECK_FALSE(reader.step());
    CHECK_FALSE(reader.step());
}

TEST_CASE("a word that this version does not know reads as a note that does not say what happened") {
    Database database = new_database();
    RowInsert<EventRow>(database, kEventTable).write({0, an_event()});
    database.execute("UPDATE event SET event = 'teatime', kind = 'meal', level = 'fine'");
    RowSelect<EventRow> reader(database, kEventTable, "");
    REQUIRE(reader.step());
    const Event event = reader.row().event;
    CHECK_FALSE(event.id);
    CHECK(event.kind == EventKind::note);
    CHECK(event.level == Level::note);
    CHECK(event.text == "Apogee");
}

} // namespace
} // namespace turnstone
