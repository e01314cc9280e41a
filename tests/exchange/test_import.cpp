// On-board logs joined with recordings of their flights.
#include <catch2/catch.hpp>

#include <chrono>
#include <limits>
#include <random>
#include <set>

#include <fmt/format.h>

#include "protocol/framing/cobs.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/framing/deframer.hpp"
#include "server/exchange/export.hpp"
#include "server/exchange/import/import.hpp"
#include "server/exchange/import/import_job.hpp"
#include "server/exchange/import/uploads.hpp"
#include "server/record/verify.hpp"
#include "tests/exchange/flown.hpp"

using namespace turnstone;
using namespace turnstone::exchange;
using namespace turnstone::exchange_test;
using nlohmann::json;

namespace {

constexpr double kSilentFrom_s = 9, kSilentUntil_s = 12;

/// A flight whose radio was silent from shortly after ignition on.
struct Silent {
    test::TemporaryFolder folder;
    Flown flight = fly(folder.path(), 20, kSilentFrom_s, kSilentUntil_s);
};
const Silent& silent() {
    static const Silent once;
    return once;
}

std::filesystem::path write_log(const test::TemporaryFolder& folder, std::span<const std::byte> bytes) {
    return folder.write("flight.log", {reinterpret_cast<const char*>(bytes.data()), bytes.size()}); // NOLINT
}

std::string octets_of_link(const std::filesystem::path& recording, const std::string& link) {
    auto reader = RecordingReader::open(recording);
    REQUIRE(reader);
    const test::TemporaryFolder folder;
    const auto request = read_export_words({"raw", link}, reader->info().t_start_ns);
    REQUIRE(request);
    REQUIRE(export_recording(*reader, *request, folder.path() / "raw", kGoOn));
    return test::read_file(folder.path() / "raw");
}

std::string text_of(std::span<const std::byte> bytes) {
    return {reinterpret_cast<const char*>(bytes.data()), bytes.size()}; // NOLINT(*-reinterpret-cast)
}

/// Rows of a table between two times since the recording's start.
std::size_t rows_between(const std::filesystem::path& recording, const std::string& table, double from_s, double to_s) {
    auto reader = RecordingReader::open(recording);
    REQUIRE(reader);
    const auto at = [&](double t_s) { return reader->info().t_start_ns + std::llround(t_s * 1e9); };
    for (const Table& each : reader->schema().tables) {
        if (each.name != table) continue;
        RowStream rows = reader->stream({{each.id, {0}}});
        rows.start(at(from_s), at(to_s));
        std::size_t count = 0;
        while (rows.next()) ++count;
        return count;
    }
    return 0;
}

/// What the vehicle's accelerometer and barometer gave, as a data logger of its own would have: another clock, another
/// rate, its own noise and units.
/// Switched on at `zero_s`, off at `until_s`.
std::string logger_csv(double zero_s, double rate, bool as_onboard_ms, double until_s = 20) {
    sim::Scenario scenario = test::demo_scenario("nominal");
    scenario.before_ignition_s = 6;
    scenario.impairment = *sim::impairment_from_name("mild");
    scenario.impairment.silent_from_s = kSilentFrom_s;
    scenario.impairment.silent_until_s = kSilentUntil_s;
    const sim::FlightResult flight = sim::fly(scenario, 4711);
    std::mt19937 random(12);
    std::normal_distribution<double> noise;
    std::string out = "Time (ms),Accel X [g],Pressure [hPa],state\r\n";
    constexpr double kStandardGravity_mps2 = 9.80665;
    for (const sim::ImuReading& imu : flight.sensors.imu) {
        if (imu.t_s > until_s || imu.t_s < zero_s) continue;
        double pressure_pa = flight.sensors.pressure.front().pressure_pa;
        for (const sim::PressureReading& baro : flight.sensors.pressure)
            if (baro.t_s <= imu.t_s) pressure_pa = baro.pressure_pa;
        const double onboard_s = flight.clock.at_start_s + imu.t_s * (1 + flight.clock.drift_ppm * 1e-6);
        const double time_ms = 1e3 * (as_onboard_ms ? onboard_s : (imu.t_s - zero_s) / (1 + rate));
        out += fmt::format("{:.3f},{:.5f},{:.4f},{}\r\n", time_ms,
                           imu.accel_body_mps2[0] / kStandardGravity_mps2 + 0.01 * noise(random), pressure_pa / 100,
                           imu.t_s > 6 ? "up" : "rail");
    }
    return out;
}

} // namespace

TEST_CASE("a log in packets fills the radio's gap, and what is merged keeps every byte of both, and verifies") {
    const test::TemporaryFolder folder;
    const Flown& flight = silent().flight;
    const auto log = write_log(folder, flight.logged);
    std::vector<double> fractions;
    const auto made = import_log({.recording = flight.recording,
                                  .vehicle = "",
                                  .log = log,
                                  .log_name = "flight.log",
                                  .mapping = {},
                                  .align = {},
                                  .folder = folder.path()},
                                 [&](double done) {
                                     fractions.push_back(done);
                                     return true;
                                 });
    INFO((made ? made->dump(1) : made.error().message));
    REQUIRE(made);
    CHECK(std::ranges::is_sorted(fractions));
    CHECK((fractions.front() >= 0 && fractions.back() <= 1));

    const auto merged = folder.path() / made->at("file").get<std::string>();
    CHECK(octets_of_link(merged, "radio") == text_of(flight.received));
    CHECK(octets_of_link(merged, "log") == text_of(flight.logged));
    const auto verified = verify_recording(merged);
    REQUIRE(verified);
    INFO(verified->first_difference);
    CHECK(verified->differences == 0);
    CHECK(verified->rows > 1000);

    const json& packets = made->at("packets");
    CHECK(packets.at("both") == flight.packets_received);
    CHECK(packets.at("log_only") == flight.packets_logged - flight.packets_received);
    CHECK(packets.at("radio_only") == 0);
    CHECK(packets.at("differing") == 0);
    CHECK(made->at("alignment").at("method") == "onboard_time");
    CHECK(made->at("alignment").at("sigma_s") < 0.02);
    REQUIRE(made->at("gaps").size() >= 1);
    const json& gap = *std::ranges::max_element(made->at("gaps"), {}, [](const json& each) {
        return each.at("to_s").get<double>() - each.at("from_s").get<double>();
    });
    CHECK(gap.at("from_s") > kSilentFrom_s - 0.3);
    CHECK(gap.at("to_s") < kSilentUntil_s + 0.3);
    CHECK(gap.at("packets") > 100);

    CHECK(rows_between(flight.recording, "sanderling/baro", 9.5, 11.5) == 0);
    const std::size_t filled = rows_between(merged, "sanderling/baro", 9.5, 11.5);
    CHECK((filled >= 49 && filled <= 51)); // one each 40 ms
    auto reader = RecordingReader::open(merged);
    REQUIRE(reader);
    std::set<std::string> notes;
    for (const Event& event : reader->events(0, std::numeric_limits<std::int64_t>::max()))
        if (event.kind == EventKind::note) notes.insert(event.text);
    CHECK(std::ranges::any_of(
        notes, [](const std::string& text) { return text.find("filled from the on-board log") != std::string::npos; }));
    // Packets of both are accepted once.
    std::size_t accepted = 0, duplicates = 0;
    for (std::int64_t after = 0;;) {
        const FramePage page = reader->frames(after, 1000, {});
        for (const FrameRecord& frame : page.frames) {
            accepted += frame.packet_verdict == PacketVerdict::accepted ? 1 : 0;
            duplicates += frame.packet_verdict == PacketVerdict::duplicate ? 1 : 0;
        }
        if (page.ids.empty()) break;
        after = page.ids.back();
    }
    CHECK(accepted == flight.packets_logged);
    CHECK(duplicates >= flight.packets_received);
}

TEST_CASE("packets that differ between log and radio are counted and named") {
    const test::TemporaryFolder folder;
    const Flown& flight = silent().flight;
    // The firmware wrote one packet to its log with another content: the same header and time, another value and a
    // checksum that fits.
    std::vector<std::byte> logged = flight.logged;
    Deframer deframer;
    std::vector<std::pair<std::size_t, std::size_t>> places;
    std::vector<std::vector<std::byte>> contents;
    deframer.push(logged, [&](const Frame& frame) {
        places.emplace_back(frame.stream_offset, frame.link_bytes);
        contents.emplace_back(frame.packet.begin(), frame.packet.end());
    });
    for (std::size_t i = 40; i < places.size(); ++i) {
        std::vector<std::byte> plain = contents[i];
        if (plain.size() < 20 || plain.back() == std::byte{0}) continue;
        plain.back() ^= std::byte{0x01};
        const std::uint16_t crc = crc16(plain);
        plain.push_back(static_cast<std::byte>(crc >> 8U));
        plain.push_back(static_cast<std::byte>(crc & 0xffU));
        std::vector<std::byte> stuffed(plain.size() + cobs_overhead_max(plain.size()));
        stuffed.resize(cobs_encode(plain, stuffed).produced);
        stuffed.push_back(std::byte{0});
        logged.erase(logged.begin() + static_cast<std::ptrdiff_t>(places[i].first),
                     logged.begin() + static_cast<std::ptrdiff_t>(places[i].first + places[i].second));
        logged.insert(logged.begin() + static_cast<std::ptrdiff_t>(places[i].first), stuffed.begin(), stuffed.end());
        break;
    }
    const auto made = import_log({.recording = flight.recording,
                                  .vehicle = "sanderling",
                                  .log = write_log(folder, logged),
                                  .log_name = "flight.log",
                                  .mapping = {},
                                  .align = {},
                                  .folder = folder.path()},
                                 kGoOn);
    REQUIRE(made);
    CHECK(made->at("packets").at("differing") == 1);
    CHECK(made->at("packets").at("first_differing").size() == 1);
    CHECK(made->at("packets").at("radio_only") == 0);
}

TEST_CASE("a log in columns is aligned by the on-board time, or by what both felt, within its sigma") {
    struct Case {
        const char* name;
        double zero_s, rate;
        bool is_onboard;
        std::optional<AlignBy> align;
        double sigma_most_s;
    };
    const Case each =
        GENERATE(Case{"on-board time", 0, 0, true, {}, 0.02}, Case{"acceleration", 3.25, 40e-6, false, {}, 0.005},
                 Case{"pressure", 2.5, -30e-6, false, AlignBy::pressure, 0.2});
    const test::TemporaryFolder folder;
    const Flown& flight = silent().flight;
    const json mapping = {{"title", "Data logger"},
                          {"time", {{"column", "Time (ms)"}, {"unit", "ms"}, {"is_onboard", each.is_onboard}}},
                          {"columns",
                           {{{"column", "Accel X [g]"}, {"channel", "imu.samples.accel_body_x"}, {"gain", 9.80665}},
                            {{"column", "Pressure [hPa]"}, {"channel", "baro.static_pressure"}, {"gain", 100}},
                            {{"column", "state"}, {"is_text", true}}}}};
    std::vector<Problem> problems;
    const auto read = read_log_mapping(mapping, "log.json", problems);
    INFO(to_string(problems));
    REQUIRE(read);
    const std::string csv = logger_csv(each.zero_s, each.rate, each.is_onboard);
    const auto made = import_log({.recording = flight.recording,
                                  .vehicle = "",
                                  .log = folder.write("logger.csv", csv),
                                  .log_name = "logger.csv",
                                  .mapping = read,
                                  .align = each.align,
                                  .folder = folder.path()},
                                 kGoOn);
    INFO(each.name << ": " << (made ? made->dump(1) : made.error().message));
    REQUIRE(made);
    const json& alignment = made->at("alignment");
    CHECK(alignment.at("sigma_s") < each.sigma_most_s);
    CHECK(alignment.at("sigma_s") > 0);
    // Rows of the radio are late by its least delay, which nobody can see from one end; the log's then are too.
    constexpr double kLeastDelay_s = 0.15;
    if (!each.is_onboard) {
        const double late_s = alignment.at("offset_s").get<double>() - each.zero_s;
        CHECK(late_s > -4 * alignment.at("sigma_s").get<double>());
        CHECK(late_s < kLeastDelay_s + 4 * alignment.at("sigma_s").get<double>());
    }
    const auto merged = folder.path() / made->at("file").get<std::string>();
    CHECK(octets_of_link(merged, "log") == csv);
    CHECK(octets_of_link(merged, "radio") == text_of(flight.received));
    const auto verified = verify_recording(merged);
    REQUIRE(verified);
    INFO(verified->first_difference);
    CHECK(verified->differences == 0);
    CHECK(rows_between(merged, "sanderling/log", 9.5, 11.5) > 300);
    REQUIRE(made->at("channels").size() == 2);
    for (const json& channel : made->at("channels")) {
        CHECK(channel.at("n") > 100);
        const bool is_pressure = channel.at("channel") == "sanderling/baro.static_pressure";
        CHECK(std::abs(channel.at("mean").get<double>()) < (is_pressure ? 150 : 1));
    }
}

TEST_CASE("a log whose logger restarted is aligned part by part, by what both felt") {
    const test::TemporaryFolder folder;
    const json mapping = {{"title", "Data logger"},
                          {"time", {{"column", "Time (ms)"}, {"unit", "ms"}, {"is_onboard", false}}},
                          {"columns",
                           {{{"column", "Accel X [g]"}, {"channel", "imu.samples.accel_body_x"}, {"gain", 9.80665}},
                            {{"column", "Pressure [hPa]"}, {"channel", "baro.static_pressure"}, {"gain", 100}}}}};
    std::vector<Problem> problems;
    const auto read = read_log_mapping(mapping, "log.json", problems);
    REQUIRE(read);
    // Off for a moment under thrust, between liftoff and burnout. A step back of less than 5 s would not be a restart.
    constexpr double kOff_s = 6.9, kOn_s = 7.7;
    const auto without_head = [](const std::string& csv) { return csv.substr(csv.find('\n') + 1); };
    const std::string csv = logger_csv(0.5, 0, false, kOff_s) + without_head(logger_csv(kOn_s, 0, false));
    const auto made = import_log({.recording = silent().flight.recording,
                                  .vehicle = "",
                                  .log = folder.write("logger.csv", csv),
                                  .log_name = "logger.csv",
                                  .mapping = read,
                                  .align = AlignBy::acceleration,
                                  .folder = folder.path()},
                                 kGoOn);
    INFO((made ? made->dump(1) : made.error().message));
    REQUIRE(made);
    CHECK(made->at("alignment").at("boots_placed") == 2);
    CHECK(made->at("alignment").at("sigma_s") < 0.1);
    const auto merged = folder.path() / made->at("file").get<std::string>();
    const auto rows = [&](double from_s, double to_s) { return rows_between(merged, "sanderling/log", from_s, to_s); };
    // 0.15 s: what rows of the radio may be late by, which nobody can see from one end.
    CHECK(rows(kOff_s + 0.35, kOn_s - 0.2) == 0);
    CHECK(rows(kOn_s + 0.35, 19.8) > 400);
    CHECK(rows(9.5, 11.5) > 300);
    const auto verified = verify_recording(merged);
    REQUIRE(verified);
    CHECK(verified->differences == 0);
}

TEST_CASE("an import that is stopped, or cannot be done, leaves nothing behind") {
    const test::TemporaryFolder folder, target;
    const Flown& flight = silent().flight;
    const auto log = write_log(folder, flight.logged);
    for (const double stop_at : {0.0, 0.15, 0.5, 0.94}) {
        const auto stopped = import_log({.recording = flight.recording,
                                         .vehicle = "",
                                         .log = log,
                                         .log_name = "flight.log",
                                         .mapping = {},
                                         .align = {},
                                         .folder = target.path()},
                                        [&](double done) { return done < stop_at; });
        REQUIRE(!stopped);
        CHECK(stopped.error().message == "stopped");
        CHECK(target.names().empty());
    }
    struct Case {
        const char* name;
        std::string content;
        std::string says;
    };
    for (const Case& each :
         {Case{"noise", std::string(5000, 'x'), "no packet was found"}, Case{"nothing", "", "no packet was found"}}) {
        const auto refused = import_log({.recording = flight.recording,
                                         .vehicle = "",
                                         .log = folder.write("bad.log", each.content),
                                         .log_name = "bad.log",
                                         .mapping = {},
                                         .align = {},
                                         .folder = target.path()},
                                        kGoOn);
        INFO(each.name);
        REQUIRE(!refused);
        CHECK_THAT(refused.error().message, Catch::Contains(each.says));
        CHECK(target.names().empty());
    }
}

TEST_CASE("a browser brings a log in pieces, looks at it, and imports it") {
    const test::TemporaryFolder folder;
    const Flown& flight = silent().flight;
    std::filesystem::copy_file(flight.recording, folder.path() / "flown.sqlite");
    const debrief::Recordings recordings{folder.path()};
    const std::string csv = logger_csv(0, 0, true);
    const auto file = upload_file(folder.path(), "0123abcd");
    REQUIRE(file);
    REQUIRE(make_room_for_upload(folder.path()));
    CHECK(add_to_upload(*file, 0, csv.substr(0, 1000)).value() == 1000);
    CHECK(!add_to_upload(*file, 0, "again"));
    CHECK(!add_to_upload(*file, 999, "overlap"));
    CHECK(add_to_upload(*file, 1000, csv.substr(1000)).value() == csv.size());
    const auto look = look_at_upload(recordings, *file, "flown~sanderling~1");
    REQUIRE(look);
    CHECK(look->at("kind") == "columns");
    REQUIRE(look->at("columns").size() == 4);
    CHECK(look->at("columns")[0].at("name") == "Time (ms)");
    CHECK(look->at("columns")[3].at("is_number") == false);
    json mapping = look->at("mapping");
    CHECK(mapping.at("time") == json{{"column", "Time (ms)"}, {"unit", "ms"}, {"is_onboard", false}});
    mapping["time"]["is_onboard"] = true;
    CHECK(mapping.at("columns")[2] == json{{"column", "state"}, {"is_text", true}});
    const auto made = run_import_job(recordings,
                                     {{"flight", "flown~sanderling~1"},
                                      {"upload", "0123abcd"},
                                      {"name", "logger.csv"},
                                      {"mapping", mapping},
                                      {"align", "auto"}},
                                     kGoOn);
    INFO((made ? made->dump(1) : made.error().message));
    REQUIRE(made);
    CHECK(!std::filesystem::exists(*file));
    auto reader = RecordingReader::open(folder.path() / made->at("file").get<std::string>());
    REQUIRE(reader);
    // The mapping goes with the recording: the next log of this vehicle finds it.
    const auto setup = reader->setup();
    REQUIRE(setup);
    const auto kept = mapping_of(setup->vehicles[0]);
    REQUIRE(kept);
    CHECK(kept->time_is_onboard);
    // Of a cancelled import it goes ten minutes later.
    folder.write(".upload-cancelled", "half");
    folder.write(".upload-young", "half");
    std::filesystem::last_write_time(folder.path() / ".upload-cancelled",
                                     std::filesystem::file_time_type::clock::now() - std::chrono::minutes(11));
    CHECK(remove_old_uploads(folder.path()) == 1);
    CHECK(!std::filesystem::exists(folder.path() / ".upload-cancelled"));
    CHECK(std::filesystem::exists(folder.path() / ".upload-young"));
    for (const std::string bad : {"", "../x", ".upload", "a b"}) CHECK(!upload_file(folder.path(), bad));
}
