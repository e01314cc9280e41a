/// Recordings of the real pipeline, made from the demo vehicle's own packets.
#include <fstream>

#include <catch2/catch.hpp>

#include "protocol/framing/cobs.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/packet/space_packet.hpp"
#include "server/pipeline/pipeline.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/reprocess.hpp"
#include "server/record/write/recorder.hpp"
#include "server/setup/vehicle_folder.hpp"
#include "tests/record/support.hpp"
#include "tests/support/tree.hpp"

namespace turnstone {
namespace {

using namespace record_test;

PipelineSetup demo_setup() {
    PipelineSetup setup;
    std::vector<Problem> problems;
    setup.vehicles.push_back(std::move(*read_vehicle_folder(test::demo_path("sanderling"), problems)));
    setup.site_json = test::read_file(test::demo_path("site.json"));
    setup.site = read_site(*parse_json_text(setup.site_json, "site.json", problems), "site.json", problems);
    REQUIRE(problems.empty());
    setup.links.push_back({"radio", "serial:/dev/ttyUSB0", 0});
    return setup;
}

/// A frame of a packet of the demo dictionary with random user data.
void add_frame(std::vector<std::byte>& link, const Packet& packet, std::uint16_t count, std::uint32_t time_ms,
               std::mt19937& random) {
    PrimaryHeader header;
    header.secondary_header_flag = true;
    header.apid = packet.apid;
    header.sequence_count = count;
    header.packet_data_length = static_cast<std::uint16_t>(4 + packet.user_data_bytes - 1);
    const auto primary = encode_primary_header(header);
    std::vector<std::byte> plain(primary.begin(), primary.end());
    for (int shift = 24; shift >= 0; shift -= 8) plain.push_back(static_cast<std::byte>(time_ms >> shift));
    for (std::uint32_t i = 0; i < packet.user_data_bytes; ++i) plain.push_back(static_cast<std::byte>(random() & 0xff));
    const std::uint16_t crc = crc16(plain);
    plain.push_back(static_cast<std::byte>(crc >> 8));
    plain.push_back(static_cast<std::byte>(crc & 0xff));
    std::vector<std::byte> stuffed(plain.size() + cobs_overhead_max(plain.size()));
    const auto result = cobs_encode(plain, stuffed);
    link.insert(link.end(), stuffed.begin(), stuffed.begin() + static_cast<std::ptrdiff_t>(result.produced));
    link.push_back(std::byte{0});
}

/// Ten seconds of every packet, with damaged bytes, chunks that fall anywhere, and actions between.
std::string record_flight(const TemporaryFolder& directory, const PipelineSetup& setup) {
    Pipeline pipeline(setup, kStart_ns);
    Recorder recorder({.directory = directory.path()}, setup);
    const std::string id = recorder.begin(pipeline.schema(), kStart_ns, kStart_ns, "flight");
    std::mt19937 random(9);
    std::vector<std::byte> waiting;
    std::vector<std::uint16_t> counts(setup.vehicles[0].dictionary.packets.size());
    for (std::uint32_t ms = 0; ms < 10'000; ms += 10) {
        auto batch = std::make_shared<Batch>();
        const std::int64_t t_ns = kStart_ns + std::int64_t{ms} * kMs + static_cast<std::int64_t>(random() % 3'000'000);
        for (std::size_t p = 0; p < counts.size(); ++p) {
            const Packet& packet = setup.vehicles[0].dictionary.packets[p];
            if (packet.period_ms > 0 && ms % static_cast<std::uint32_t>(packet.period_ms) == 0) {
                add_frame(waiting, packet, counts[p]++, 500 + ms, random);
                if (random() % 10 == 0) waiting[waiting.size() - 1 - random() % 10] ^= std::byte{0x41};
            }
        }
        if (random() % 3 == 0 && !waiting.empty()) {
            const std::size_t size = 1 + random() % waiting.size();
            pipeline.chunk(0, t_ns, t_ns + 5, std::span(waiting).first(size), *batch);
            waiting.erase(waiting.begin(), waiting.begin() + static_cast<std::ptrdiff_t>(size));
        }
        if (ms % 1000 == 500) pipeline.action(t_ns, Marker{"look here"}, *batch);
        pipeline.advance(t_ns, *batch);
        recorder.push(batch);
    }
    return id;
}

std::int64_t count_of(const std::filesystem::path& path, const std::string& what) {
    Database database(path, Database::Mode::read_only);
    return database.integer(what);
}

TEST_CASE("stored inputs fed back give what is stored, bit for bit; a changed file does not") {
    const TemporaryFolder directory;
    const std::string id = record_flight(directory, demo_setup());
    const auto report = verify_recording(directory.recording(id));
    REQUIRE(report);
    INFO(report->first_difference);
    CHECK(report->differences == 0);
    CHECK(report->chunks > 200);
    CHECK(report->actions == 10);
    CHECK(report->frames > 300);
    CHECK(report->rows > 1000);
    CHECK(report->events >= 10);

    struct Case {
        const char* sql;
    };
    for (const auto& c :
         {Case{"UPDATE frame SET sequence_count = sequence_count + 1 WHERE id = 20"},
          Case{"UPDATE sanderling_imu SET imu_temperature = imu_temperature * (1 + 2.3e-16) WHERE id = 7"},
          Case{"UPDATE event SET t_ns = t_ns + 1 WHERE id = 2"},
          Case{"DELETE FROM sanderling_baro WHERE id = (SELECT max(id) FROM sanderling_baro)"}}) {
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
        for (const char* what :
             {"SELECT count(*) FROM frame", "SELECT count(*) FROM event", "SELECT sum(length(bytes)) FROM chunk",
              "SELECT count(*) FROM sanderling_imu_samples", "SELECT sum(t_ns % 1000003) FROM sanderling_baro"}) {
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
        const auto folder = output.path() / "sanderling";
        std::filesystem::create_directory(folder);
        std::filesystem::copy_file(test::demo_path("sanderling") / "vehicle.json", folder / "vehicle.json");
        std::string dictionary = test::read_file(test::demo_path("sanderling") / "dictionary.json");
        const std::string gain = R"("gain": 0.001, "offset": 0}}, "unit": "V")";
        REQUIRE(dictionary.find(gain) != std::string::npos);
        dictionary.replace(dictionary.find(gain), gain.size(), R"("gain": 0.002, "offset": 0}}, "unit": "V")");
        std::ofstream(folder / "dictionary.json") << dictionary;
        const auto path = reprocess(directory.recording(id), {folder}, output.path());
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
        CHECK_THAT(reprocess(directory.recording(id), {output.path()}, output.path()).error().message,
                   Catch::Contains("dictionary.json"));
        CHECK_THAT(reprocess(directory.recording(id), {}, directory.recording(id)).error().message,
                   Catch::Contains("cannot be made a folder"));
        const auto folder = output.path() / "other";
        std::filesystem::create_directory(folder);
        const auto message = [&](const std::string& dictionary, const std::string& vehicle) {
            std::ofstream(folder / "dictionary.json") << dictionary;
            std::ofstream(folder / "vehicle.json") << vehicle;
            const auto made = reprocess(directory.recording(id), {folder}, output.path());
            REQUIRE_FALSE(made);
            return made.error().message;
        };
        const std::string dictionary = test::read_file(test::demo_path("sanderling") / "dictionary.json");
        const std::string vehicle = test::read_file(test::demo_path("sanderling") / "vehicle.json");
        const auto renamed = [](std::string text) {
            text.replace(text.find("\"sanderling\""), 12, "\"plover\"");
            return text;
        };
        CHECK_THAT(message(dictionary, renamed(vehicle)),
                   Catch::Contains("/name: is \"plover\"; must be \"sanderling\""));
        CHECK_THAT(message(renamed(dictionary), renamed(vehicle)),
                   Catch::Contains("plover") && Catch::Contains("the recording has sanderling"));
        CHECK_THAT(message("{", R"({"name": 5})"),
                   Catch::Contains("dictionary.json") && Catch::Contains("vehicle.json: /name"));
        std::filesystem::remove_all(folder);
        CHECK(output.names().empty());
    }
}

} // namespace
} // namespace turnstone
