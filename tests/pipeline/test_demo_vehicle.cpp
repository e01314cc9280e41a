// The demo vehicle with all its estimators, fed with packets whose user data are random: pure, causal and undisturbed
// by anything a damaged or foreign vehicle sends.
#include <catch2/catch.hpp>

#include "server/pipeline/events.hpp"
#include "tests/pipeline/station.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

#ifdef TURNSTONE_INSTRUMENTED // half a minute each
constexpr std::uint64_t kSessions = 1;
constexpr double kPredictionPeriod_s = 20;
#else
constexpr double kPredictionPeriod_s = 0.5;
constexpr std::uint64_t kSessions = 3;
#endif

PipelineSetup demo_setup() {
    std::vector<Problem> problems;
    PipelineSetup setup;
    VehicleSetup vehicle;
    vehicle.dictionary =
        read_dictionary(read_json(demo_path("sanderling/dictionary.json")), "dictionary.json", problems);
    vehicle.vehicle = read_vehicle(read_json(demo_path("sanderling/vehicle.json")), "vehicle.json", problems);
    setup.vehicles.push_back(std::move(vehicle));
    setup.site = read_site(read_json(demo_path("site.json")), "site.json", problems);
    setup.links = {{"radio", "test:", 0}};
    REQUIRE(to_string(problems) == "");
    return setup;
}

/// Thirty seconds of every packet of the dictionary at its period. Each byte keeps its value, changes a little or is
/// drawn again, so that estimators see nonsense as well as stretches that look like sensors.
std::vector<Delivery> random_session(const Dictionary& dictionary, std::uint64_t seed) {
    std::mt19937_64 random(seed);
    std::vector<Delivery> out;
    std::vector<Bytes> data;
    std::vector<unsigned> counts(dictionary.packets.size(), 0);
    for (const Packet& packet : dictionary.packets) data.emplace_back(packet.user_data_bytes());
    for (std::int64_t ms = 0; ms < 30'000; ms += 10)
        for (std::size_t k = 0; k < dictionary.packets.size(); ++k) {
            const Packet& packet = dictionary.packets[k];
            if (packet.period_ms > 0 && ms % static_cast<std::int64_t>(packet.period_ms) != 0) continue;
            for (std::byte& byte : data[k])
                if (random() % 50 == 0) byte = static_cast<std::byte>(random());
            const auto delay_ns = static_cast<std::int64_t>(random() % 9'000'000);
            out.push_back({kStart_ns + ms * kNsPerMs + delay_ns, 0,
                           frame(packet.apid, counts[k]++, static_cast<std::uint32_t>(5000 + ms), data[k])});
        }
    std::stable_sort(out.begin(), out.end(), [](const Delivery& a, const Delivery& b) { return a.t_ns < b.t_ns; });
    return out;
}

} // namespace

TEST_CASE("the schema of the demo vehicle carries roles, groups, words and 1-sigma columns") {
    const PipelineSetup setup = demo_setup();
    const Pipeline pipeline(setup, kStart_ns);
    const Schema& schema = pipeline.schema();
    std::set<std::string> names;
    for (std::size_t k = 0; k < schema.tables.size(); ++k) {
        const Table& table = schema.tables[k];
        INFO(table.name);
        CHECK(table.id == k);
        CHECK(names.insert(table.name).second);
        std::set<std::string> columns;
        for (std::size_t c = 0; c < table.columns.size(); ++c) {
            CHECK(columns.insert(table.columns[c].name).second);
            CHECK(table.columns[c].is_text == (c >= table.number_count));
            CHECK_FALSE(table.columns[c].title.empty());
            CHECK_FALSE(table.columns[c].unit.empty());
        }
        for (const Column& column : table.columns)
            for (const std::string& other : {column.sigma_column, column.low_column, column.high_column})
                CHECK((other.empty() || columns.contains(other)));
    }
    const Table& samples = table_named(schema, "sanderling/imu.samples");
    CHECK(samples.columns[0].role == "accel_body_x");
    CHECK(samples.columns[0].unit == "m/s2");
    CHECK(samples.columns[0].strip_title == "Acceleration, body");
    CHECK(samples.columns[0].strip_line == "x");
    const Table& health = table_named(schema, "sanderling/health");
    CHECK(health.columns.back().name == "dictionary");
    CHECK(health.columns.back().role == "dictionary_version");
    CHECK(health.columns[1].enumeration.at(1) == "good");
    const Table& nav = table_named(schema, "sanderling/nav");
    CHECK(nav.columns[3].name == "onboard_q_0");
    CHECK(nav.columns[3].role == "onboard_q_w");
}

TEST_CASE("any packet contents: rows stay causal and a replay is the same bit for bit") {
    const PipelineSetup setup = demo_setup();
    for (std::uint64_t seed = 1; seed <= kSessions; ++seed) {
        const std::vector<Delivery> session = random_session(setup.vehicles[0].dictionary, seed);
        Batch live, replayed;
        Pipeline first(setup, kStart_ns), second(setup, kStart_ns);
        first.set_prediction_period(kPredictionPeriod_s);
        second.set_prediction_period(kPredictionPeriod_s);
        for (const Delivery& delivery : session) {
            if (delivery.t_ns % 3 == 0) first.advance(delivery.t_ns - 1, live);
            first.chunk(0, delivery.t_ns, delivery.t_ns, delivery.bytes, live);
        }
        for (const Delivery& delivery : session)
            second.chunk(0, delivery.t_ns, delivery.t_ns, delivery.bytes, replayed);
        CHECK(live == replayed);
        CHECK(std::count_if(
                  live.frames.begin(), live.frames.end(),
                  [](const FrameRecord& f) { return f.packet_verdict == PacketVerdict::accepted; }) ==
              static_cast<std::ptrdiff_t>(session.size()));
        CHECK(std::all_of(live.rows.begin(), live.rows.end(),
                          [](const RowRecord& row) { return row.t_ns <= row.t_rx_ns; }));
        std::set<std::string> filled;
        for (const RowRecord& row : live.rows) filled.insert(first.schema().tables[row.table].name);
        CHECK(filled.contains("sanderling/estimate/clock"));
        for (const Event& event : live.events) {
            CHECK(event.t_ns <= event.t_found_ns);
            CHECK_FALSE(event.text.empty());
            CHECK(event_values_from_json(to_json(event.values)) == event.values);
        }
    }
}
