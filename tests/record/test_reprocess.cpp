/// Recordings of the real pipeline, made from the demo vehicle's own packets.
#include <catch2/catch.hpp>

#include "server/record/format/sqlite.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/reprocess.hpp"
#include "server/record/verify.hpp"
#include "tests/record/demo_flight.hpp"

namespace turnstone {
namespace {

using namespace record_test;

std::int64_t count_of(const std::filesystem::path& path, const std::string& what) {
    Database database(path, Database::Mode::read_only);
    return database.integer(what);
}

TEST_CASE("stored inputs fed back give what is stored, bit for bit, and a changed file does not") {
    const TemporaryFolder directory;
    const std::string id = record_flight(directory, demo_setup());
    const auto report = verify_recording(directory.recording(id));
    REQUIRE(report);
    INFO(report->first_difference);
    CHECK(report->differences == 0);
    CHECK(report->chunks > kFlight_ms / 50);
    CHECK(report->actions == kFlightActions);
    CHECK(report->frames > kFlight_ms / 40);
    CHECK(report->rows > 1000);
    CHECK(report->events >= 10);

    struct Case {
        const char* sql;
    };
    for (const auto& c :
         {Case{"UPDATE frame SET sequence_count = sequence_count + 1 WHERE id = 20"},
          Case{"UPDATE stored_sanderling_imu SET imu_temperature = imu_temperature + 1 WHERE id = 7"},
          Case{"UPDATE stored_sanderling_nav SET onboard_altitude = 1.5 WHERE id = 7"},
          Case{"UPDATE stored_sanderling_estimate_air SET altitude_m = altitude_m + 1 WHERE id = 7"},
          Case{"UPDATE stored_sanderling_estimate_air SET delay_ns = delay_ns + 1 WHERE id = 7"},
          Case{"UPDATE event SET t_ns = t_ns + 1 WHERE id = 2"},
          Case{"DELETE FROM stored_sanderling_baro WHERE id = (SELECT max(id) FROM stored_sanderling_baro)"}}) {
        INFO(c.sql);
        const auto changed = directory.recording("changed");
        std::filesystem::remove(changed);
        std::filesystem::copy_file(directory.recording(id), changed);
        Database(changed, Database::Mode::read_write).execute(c.sql);
        const auto difference = verify_recording(changed);
        REQUIRE(difference);
        CHECK(difference->differences > 0);
        CHECK_FALSE(difference->first_difference.empty());
    }
}

TEST_CASE("reprocessing gives the same recording again, or another one with another vehicle folder") {
    const TemporaryFolder directory;
    const TemporaryFolder output;
    const std::string id = record_flight(directory, demo_setup());
    SECTION("same vehicle") {
        const auto path = reprocess(directory.recording(id), {}, output.path());
        REQUIRE(path);
        CHECK(output.names().size() == 1);
        CHECK(verify_recording(*path)->differences == 0);
        for (const char* what : {"SELECT count(*) FROM frame", "SELECT count(*) FROM event",
                                 "SELECT sum(length(bytes)) FROM chunk", "SELECT count(*) FROM sanderling_imu_samples",
                                 "SELECT sum(t_ns % 1000003) FROM stored_sanderling_baro"}) {
            INFO(what);
            CHECK(count_of(*path, what) == count_of(directory.recording(id), what));
        }
        auto reader = RecordingReader::open(*path);
        REQUIRE(reader);
        CHECK(reader->info().name == "flight");
        CHECK(reader->info().closed);
        CHECK(reader->info().t_start_ns == kStart_ns);
    }
    SECTION("another calibration") {
        std::string dictionary = demo_text("dictionary.json");
        const std::string gain = R"("gain": 0.001, "offset": 0}}, "unit": "V")";
        REQUIRE(dictionary.find(gain) != std::string::npos);
        dictionary.replace(dictionary.find(gain), gain.size(), R"("gain": 0.002, "offset": 0}}, "unit": "V")");
        const auto path =
            reprocess(directory.recording(id), vehicle_of(dictionary, demo_text("vehicle.json")), output.path());
        REQUIRE(path);
        Database before(directory.recording(id), Database::Mode::read_only);
        Database after(*path, Database::Mode::read_only);
        const char* raw = "SELECT CAST(round(battery_voltage * 1000) AS INTEGER) FROM sanderling_health ORDER BY id";
        REQUIRE(before.integer(raw) > 0);
        CHECK(after.integer(raw) == 2 * before.integer(raw));
    }
    SECTION("what cannot be done says why") {
        CHECK_THAT(reprocess(directory.recording("none"), {}, output.path()).error().message,
                   Catch::Contains("no such file"));
        CHECK_THAT(reprocess(directory.recording(id), {}, directory.recording(id)).error().message,
                   Catch::Contains("cannot be made"));
        auto other = vehicle_of(demo_text("dictionary.json"), demo_text("vehicle.json"));
        other.front().dictionary.vehicle = "plover";
        CHECK_THAT(reprocess(directory.recording(id), std::move(other), output.path()).error().message,
                   Catch::Contains("plover") && Catch::Contains("the recording has sanderling"));
        CHECK(output.names().empty());
    }
}

TEST_CASE("a recording whose vehicle files this version cannot read is processed with the files given instead") {
    const TemporaryFolder directory;
    const TemporaryFolder output;
    const std::string id = record_flight(directory, demo_setup());
    Database(directory.recording(id), Database::Mode::read_write)
        .execute("UPDATE vehicle SET vehicle_json = '{\"a_key_of_another_version\": 1}'");
    const auto vehicles = [] { return vehicle_of(demo_text("dictionary.json"), demo_text("vehicle.json")); };
    CHECK_THAT(verify_recording(directory.recording(id)).error().message,
               Catch::Contains("sanderling") && Catch::Contains("a_key_of_another_version"));
    CHECK_FALSE(reprocess(directory.recording(id), {}, output.path()));
    const auto report = verify_recording(directory.recording(id), vehicles());
    REQUIRE(report);
    CHECK(report->differences == 0);
    CHECK(report->not_compared.empty());
    CHECK(reprocess(directory.recording(id), vehicles(), output.path()));
}

TEST_CASE("a damaged start or progress ends processing with a sentence, or harms nothing") {
    const TemporaryFolder directory;
    const TemporaryFolder output;
    const std::string id = record_flight(directory, demo_setup());
    for (const char* start : {"-9223372036854775808", "9223372036854775807", "9779028325000000000", "-1"}) {
        INFO(start);
        Database(directory.recording(id), Database::Mode::read_write)
            .execute("UPDATE meta SET value = '" + std::string(start) + "' WHERE key = 't_start_ns'");
        CHECK_THAT(verify_recording(directory.recording(id)).error().message, Catch::Contains("start"));
        CHECK_THAT(reprocess(directory.recording(id), {}, output.path()).error().message, Catch::Contains("start"));
    }
    CHECK(output.names().empty());
    Database(directory.recording(id), Database::Mode::read_write)
        .execute("UPDATE meta SET value = '" + std::to_string(kStart_ns) +
                 "' WHERE key = 't_start_ns';"
                 "UPDATE meta SET value = '2979028325000000000' WHERE key = 'derived_t_ns'");
    const auto report = verify_recording(directory.recording(id));
    REQUIRE(report);
    CHECK(report->frames > kFlight_ms / 40);
}

TEST_CASE("of a short recording every twentieth round of predictions is verified, of a day's some four hundred") {
    constexpr std::uint64_t kOfADay = 8 * 3600 * 2; // a round each half second
    CHECK(verified_one_in(0) == 20);
    CHECK(verified_one_in(2000) == 20);
    CHECK(kOfADay / verified_one_in(kOfADay) == 400);
}

TEST_CASE("tables that the recording has otherwise are named, and the rest is compared") {
    const TemporaryFolder directory;
    const std::string id = record_flight(directory, demo_setup());
    const auto whole = verify_recording(directory.recording(id));
    REQUIRE(whole);
    CHECK(whole->not_compared.empty());
    Database(directory.recording(id), Database::Mode::read_write)
        .execute("UPDATE own_column SET name = 'altitude_ft' "
                 "WHERE name = 'altitude_m' AND series = (SELECT id FROM series WHERE name LIKE '%/estimate/vertical');"
                 "UPDATE series SET name = 'sanderling/estimate/tea_leaves' WHERE name LIKE '%/estimate/air'");
    const auto report = verify_recording(directory.recording(id));
    REQUIRE(report);
    INFO(report->first_difference);
    CHECK(report->differences == 0);
    CHECK(report->rows > 1000);
    CHECK(report->rows < whole->rows);
    CHECK_THAT(report->not_compared, Catch::UnorderedEquals(std::vector<std::string>{
                                         "sanderling/estimate/vertical: has different columns in this version",
                                         "sanderling/estimate/tea_leaves: this version makes no such table",
                                         "sanderling/estimate/air: is not in the recording"}));
}

} // namespace
} // namespace turnstone
