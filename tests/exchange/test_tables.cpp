// Exported tables, read back by programs that are not ours, against the recording as its page reader gives it.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "server/exchange/export.hpp"
#include "tests/exchange/flown.hpp"
#include "tests/report/recording.hpp"
#include "tests/support/hex.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::exchange;
using namespace turnstone::exchange_test;
using nlohmann::json;

namespace {

json read_back(const std::string& format, const std::filesystem::path& file) {
    return json::parse(output_of("/usr/bin/python3 " + test::source_path("tests/exchange/read_back.py").string() + " " +
                                 format + " " + file.string() + " " + std::to_string(kStart_ns)));
}

/// A table's rows in the window, as {"t_ns": [], COLUMN: []}.
json stored(RecordingReader& reader, const Table& table, std::int64_t from_ns, std::int64_t to_ns) {
    Batch batch;
    reader.rows(from_ns, to_ns, std::numeric_limits<std::size_t>::max(), batch);
    json out = {{"t_ns", json::array()}};
    for (const Column& column : table.columns) out[column.name] = json::array();
    for (const RowRecord& row : batch.rows) {
        if (row.table != table.id) continue;
        out["t_ns"].push_back(row.t_ns - kStart_ns);
        const auto numbers = batch.numbers_of(row, table);
        const auto texts = batch.texts_of(row, table);
        for (std::size_t c = 0; c < table.columns.size(); ++c) {
            json& column = out[table.columns[c].name];
            if (c >= table.number_count)
                column.push_back(texts[c - table.number_count]);
            else
                column.push_back(std::isnan(numbers[c]) ? json(nullptr) : json(numbers[c]));
        }
    }
    return out;
}

const Table& table_called(const RecordingReader& reader, const std::string& name) {
    for (const Table& table : reader.schema().tables)
        if (table.name == name) return table;
    throw std::runtime_error("no table " + name);
}

/// Of one time base. HDF5 takes "/" for a group.
std::string column_called(const std::string& table, const std::string& column, const std::string& format) {
    std::string name = table + "." + column;
    if (format == "hdf5") std::ranges::replace(name, '/', '.');
    return name;
}

ExportRequest request_of(const std::string& format, const std::string& channels, std::optional<double> from_s = {},
                         std::optional<double> to_s = {}, std::optional<double> every_s = {}) {
    const auto request = read_export_words({format, channels, from_s, to_s, every_s}, kStart_ns);
    INFO((request ? "" : request.error().message));
    REQUIRE(request);
    return *request;
}

} // namespace

TEST_CASE("every table of a recording is read back as it is stored, by programs that are not ours") {
    const test::TemporaryFolder folder;
    auto reader = RecordingReader::open(flown().recording);
    REQUIRE(reader);
    for (const std::string format : {"csv", "jsonl", "npz", "hdf5"}) {
        const auto file = folder.path() / ("all." + format);
        const auto written = export_recording(*reader, request_of(format, "", 5.5, 11.25), file, kGoOn);
        INFO(format << (written ? "" : written.error().message));
        REQUIRE(written);
        const json back = read_back(format, file);
        std::size_t tables = 0, rows = 0;
        for (const Table& table : reader->schema().tables) {
            const json expected = stored(*reader, table, kStart_ns + 5'500'000'000, kStart_ns + 11'250'000'000);
            INFO(table.name);
            if (expected["t_ns"].empty()) {
                CHECK(!back["tables"].contains(table.name));
                continue;
            }
            ++tables;
            rows += expected["t_ns"].size();
            REQUIRE(back["tables"].contains(table.name));
            CHECK(back["tables"][table.name] == expected);
            for (const Column& column : table.columns) {
                INFO(column.name);
                CHECK(back["units"][table.name + "." + column.name] == (column.is_text ? "" : column.unit));
            }
        }
        CHECK(tables > 15);
        CHECK(rows > 2000);
        CHECK(back["tables"].size() == tables);
    }
}

TEST_CASE("no value, infinities and nanoseconds arrive in each format as the reference maps them") {
    const json reference = test::read_reference("formats/exports.json");
    std::map<std::string, json> mapping;
    for (const json& each : reference.at("mapping")) mapping[each.at("id")] = each;
    constexpr double kInf = std::numeric_limits<double>::infinity();
    const test::TemporaryFolder folder;
    report_test::HandMade made(demo_setup());
    const std::vector<double> pressures{kInf, -kInf, -0.0, std::numeric_limits<double>::quiet_NaN(), 90'125.5};
    for (std::size_t i = 0; i < pressures.size(); ++i)
        made.row("sanderling/baro", static_cast<double>(i) + 0.000'000'001, {{"static_pressure", pressures[i]}});
    auto reader = RecordingReader::open(made.record(folder, 6));
    REQUIRE(reader);
    for (const std::string format : {"csv", "jsonl", "npz", "hdf5"}) {
        INFO(format);
        const auto file = folder.path() / ("odd." + format);
        REQUIRE(export_recording(*reader, request_of(format, "sanderling/baro"), file, kGoOn));
        const json back = read_back(format, file);
        const json& table = back["tables"]["sanderling/baro"];
        const json& found = table["static_pressure"];
        CHECK(found[0] == "Infinity");
        CHECK(found[1] == "-Infinity");
        // A recording has no minus zero (server/record/SQL.md): SQLite keeps whole numbers as integers.
        CHECK((found[2] == 0.0 && !std::signbit(found[2].get<double>())));
        CHECK(found[3] == nullptr);
        CHECK(found[4] == 90'125.5);
        CHECK(table["t_ns"][4] == 4'000'000'001);
        const std::string text = test::read_file(file);
        if (format == "csv") {
            // A cell each, as the mapping words it; a recording has no NaN beside "no value".
            CHECK(mapping["missing"]["csv"] == "empty field");
            std::size_t place = text.find("\r\n");
            for (const std::string& cell : {mapping["plus_infinity"]["csv"].get<std::string>(),
                                            mapping["minus_infinity"]["csv"].get<std::string>(), std::string("0"),
                                            std::string(), std::string("90125.5")}) {
                INFO(cell);
                const std::size_t end = text.find("\r\n", place + 2);
                const std::string line = text.substr(place + 2, end - place - 2);
                CHECK_THAT(line, Catch::Contains(".000000001," + cell + ","));
                place = end;
            }
        }
        if (format == "jsonl") {
            for (const char* each : {"plus_infinity", "minus_infinity"}) {
                const std::string word = mapping[each]["jsonl"].get<std::string>().substr(7); // behind "string "
                CHECK_THAT(text, Catch::Contains("\"static_pressure\":" + word));
            }
            CHECK(mapping["missing"]["jsonl"] == "null");
            CHECK_THAT(text, Catch::Contains("\"static_pressure\":null"));
        }
        if (format == "npz") {
            CHECK(back["kinds"]["sanderling/baro.t_ns"] == mapping["int_above_2_53"]["npy"]);
            const json& member = reference["npz"]["members"][0];
            for (const auto& [name, compression] : back["members"].items()) {
                CHECK_THAT(name, Catch::EndsWith(".npy"));
                CHECK(compression == member.at("compression"));
            }
            CHECK(back["members"].size() == 2);
        }
        if (format == "hdf5") {
            for (const json& dataset : reference["hdf5"]["datasets"]) {
                const bool is_time = dataset.at("name") == "t_ns";
                CHECK(back["kinds"][is_time ? "sanderling/baro.t_ns" : "sanderling/baro.static_pressure"] ==
                      dataset.at("dtype"));
            }
            CHECK(text.starts_with(test::text_from_hex(reference["hdf5"]["signature_hex"].get<std::string>())));
        }
    }
}

TEST_CASE("the reader of JSON Lines takes and refuses what the reference's readers do") {
    const test::TemporaryFolder folder;
    std::size_t refused = 0;
    for (const json& each : test::read_reference("formats/exports.json").at("jsonl")) {
        INFO(each.at("id"));
        const auto file = folder.write("some.jsonl", each.at("text"));
        const auto said = folder.path() / "said";
        const int code = std::system(("/usr/bin/python3 " + test::source_path("tests/exchange/read_back.py").string() +
                                      " lines " + file.string() + " >" + said.string() + " 2>/dev/null")
                                         .c_str());
        CHECK((code == 0) == each.at("accept"));
        if (each.at("accept")) CHECK(json::parse(test::read_file(said)).at("objects") == each.at("objects"));
        refused += each.at("accept") ? 0 : 1;
    }
    CHECK(refused == 5);
}

TEST_CASE("a word means a column, a table, or all tables that begin with it, and an unknown one is refused by name") {
    const test::TemporaryFolder folder;
    auto reader = RecordingReader::open(flown().recording);
    REQUIRE(reader);
    struct Case {
        std::string words, vehicle;
        std::vector<std::string> columns;
    };
    for (const Case& each :
         {Case{"sanderling/baro", "", {"sanderling/baro.air_temperature", "sanderling/baro.static_pressure"}},
          Case{"baro.static_pressure", "sanderling", {"sanderling/baro.static_pressure"}},
          Case{"sanderling/baro.static_pressure, sanderling/baro",
               "",
               {"sanderling/baro.air_temperature", "sanderling/baro.static_pressure"}},
          Case{"sanderling/fix.latitude,sanderling/baro.static_pressure",
               "",
               {"sanderling/baro.static_pressure", "sanderling/fix.latitude"}}}) {
        INFO(each.words);
        ExportRequest request = request_of("jsonl", each.words, 6, 7);
        request.vehicle = each.vehicle;
        const auto file = folder.path() / "some.jsonl";
        REQUIRE(export_recording(*reader, request, file, kGoOn));
        std::vector<std::string> columns;
        const json units = read_back("jsonl", file)["units"];
        for (const auto& [name, unit] : units.items()) columns.push_back(name);
        CHECK(columns == each.columns);
    }
    for (const std::string unknown : {"sanderling/bar", "anderling", "sanderling/baro.pressure"}) {
        const auto refused = export_recording(*reader, request_of("csv", unknown), folder.path() / "none.csv", kGoOn);
        REQUIRE(!refused);
        CHECK_THAT(refused.error().message,
                   Catch::Contains("\"" + unknown + "\"") && Catch::Contains("sanderling/baro"));
        CHECK(!std::filesystem::exists(folder.path() / "none.csv"));
    }
}

TEST_CASE("one time base has a line each step, with the newest value of each column since the line before") {
    const test::TemporaryFolder folder;
    auto reader = RecordingReader::open(flown().recording);
    REQUIRE(reader);
    constexpr std::int64_t kEvery_ns = 250'000'000;
    const std::vector<std::string> names{"sanderling/baro", "sanderling/fix"};
    for (const std::string format : {"csv", "jsonl", "npz", "hdf5"}) {
        INFO(format);
        const auto file = folder.path() / ("base." + format);
        REQUIRE(
            export_recording(*reader, request_of(format, "sanderling/baro,sanderling/fix", 8, 12, 0.25), file, kGoOn));
        const json back = read_back(format, file)["tables"]["samples"];
        REQUIRE(back["t_ns"].size() == 16);
        std::size_t values = 0;
        for (const std::string& name : names) {
            const Table& table = table_called(*reader, name);
            const json rows = stored(*reader, table, kStart_ns + 8'000'000'000, kStart_ns + 12'000'000'000);
            for (std::size_t c = 0; c < table.number_count; ++c) {
                const std::string& column = table.columns[c].name;
                for (std::int64_t line = 0; line < 16; ++line) {
                    const std::int64_t t_ns = 8'000'000'000 + line * kEvery_ns;
                    json newest = nullptr;
                    for (std::size_t i = 0; i < rows["t_ns"].size(); ++i) {
                        const auto row_ns = rows["t_ns"][i].get<std::int64_t>();
                        if (row_ns > t_ns - kEvery_ns && row_ns <= t_ns && !rows[column][i].is_null())
                            newest = rows[column][i];
                    }
                    const auto at = static_cast<std::size_t>(line);
                    CHECK(back["t_ns"][at] == t_ns);
                    CHECK(back[column_called(name, column, format)][at] == newest);
                    values += newest.is_null() ? 0 : 1;
                }
            }
        }
        CHECK(values > 100);
    }
}

TEST_CASE("raw octets are what the link delivered, and a window of them") {
    const test::TemporaryFolder folder;
    auto reader = RecordingReader::open(flown().recording);
    REQUIRE(reader);
    const auto file = folder.path() / "raw.bin";
    REQUIRE(export_recording(*reader, request_of("raw", ""), file, kGoOn));
    const std::string_view received(reinterpret_cast<const char*>(flown().received.data()), flown().received.size());
    CHECK(test::read_file(file) == received);
    REQUIRE(export_recording(*reader, request_of("raw", "radio", 8, 9), file, kGoOn));
    const std::string part = test::read_file(file);
    CHECK(part.size() > 1000);
    CHECK(part.size() < received.size() / 10);
    CHECK(received.find(part) != std::string_view::npos);
    const auto refused = export_recording(*reader, request_of("raw", "tracker"), file, kGoOn);
    REQUIRE(!refused);
    CHECK_THAT(refused.error().message, Catch::Contains("the links are radio"));
}

TEST_CASE("an export that is stopped, or has no room, leaves no file and says which it was") {
    const test::TemporaryFolder folder;
    auto reader = RecordingReader::open(flown().recording);
    REQUIRE(reader);
    for (const std::string format : {"csv", "jsonl", "npz", "hdf5", "kml", "geojson", "gpx"}) {
        INFO(format);
        std::vector<double> fractions;
        const auto stopped =
            export_recording(*reader, request_of(format, ""), folder.path() / "part", [&](double done) {
                fractions.push_back(done);
                return fractions.size() < 3;
            });
        REQUIRE(!stopped);
        CHECK(stopped.error().message == "stopped");
        REQUIRE(fractions.size() == 3);
        CHECK((0 <= fractions[0] && fractions[0] <= fractions[1] && fractions[1] <= fractions[2] && fractions[2] <= 1));
        CHECK(folder.names().empty());
        if (format == "hdf5") continue; // its library does not let go of a file that cannot be flushed
        const auto full = export_recording(*reader, request_of(format, ""), "/dev/full", kGoOn);
        REQUIRE(!full);
        CHECK_THAT(full.error().message, Catch::Contains("/dev/full cannot be written"));
    }
}

TEST_CASE("what is asked for is read strictly") {
    struct Case {
        ExportWords words;
        std::string says;
    };
    for (const Case& each :
         {Case{{"xls", ""}, "there are csv, jsonl"}, Case{{"csv", "", 5.0, 5.0}, "ends before it begins"},
          Case{{"csv", "", {}, {}, 0.0}, "cannot be"}, Case{{"gpx", "", {}, {}, 1.0}, "one time base goes with"},
          Case{{"csv", "", std::numeric_limits<double>::quiet_NaN()}, "is not seconds"}}) {
        const auto refused = read_export_words(each.words, kStart_ns);
        REQUIRE(!refused);
        CHECK_THAT(refused.error().message, Catch::Contains(each.says));
    }
    auto reader = RecordingReader::open(flown().recording);
    REQUIRE(reader);
    const auto endless = can_export(*reader, request_of("csv", "", 0, 4e9, 1e-6));
    REQUIRE(!endless);
    CHECK_THAT(endless.error().message, Catch::Contains("lines"));
    // A file without a line would look like a recording without one.
    for (const char* format : {"csv", "raw"}) {
        const auto after = can_export(*reader, request_of(format, "", 5000, 5001));
        REQUIRE(!after);
        CHECK_THAT(after.error().message, Catch::Contains("outside the recording"));
    }
}
