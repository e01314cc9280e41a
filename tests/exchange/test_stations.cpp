// Recordings of one flight by two stations, joined.
#include <catch2/catch.hpp>

#include "server/exchange/import/other_station.hpp"
#include "server/exchange/import/station_times.hpp"
#include "server/record/verify.hpp"
#include "shared/time.hpp"
#include "tests/exchange/flown.hpp"

using namespace turnstone;
using namespace turnstone::exchange;
using namespace turnstone::exchange_test;
using nlohmann::json;

namespace {

/// What three receivers heard of the same flight, each with errors of its own.
const sim::FlightResult& heard_by_three() {
    static const sim::FlightResult once = [] {
        sim::Scenario scenario = test::demo_scenario("nominal");
        scenario.before_ignition_s = 6;
        scenario.impairment = {.loss = 0.02, .bit_error = 1.5e-3};
        scenario.further_receivers = {scenario.impairment, scenario.impairment};
        return sim::fly(scenario, 77);
    }();
    return once;
}

/// A station's clock, from the seconds of the flight.
struct StationClock {
    double ahead_s = 0, drift_ppm = 0;
    [[nodiscard]] std::int64_t at(double t_s) const {
        return kStart_ns + std::llround((t_s * (1 + drift_ppm * 1e-6) + ahead_s) * 1e9);
    }
};

constexpr double kSeconds = 40;

std::filesystem::path record_station(const std::filesystem::path& path, const StationClock& clock,
                                     const std::vector<const sim::DeliveredStream*>& streams) {
    PipelineSetup setup = demo_setup();
    setup.links.clear();
    struct Arrival {
        double t_s;
        LinkId link;
        std::span<const std::byte> bytes;
    };
    std::vector<Arrival> arrivals;
    for (std::size_t link = 0; link < streams.size(); ++link) {
        setup.links.push_back({"radio" + (link == 0 ? std::string() : std::to_string(link + 1)), "test:", 0});
        for (const sim::Delivery& delivery : streams[link]->deliveries)
            if (delivery.t_end_s < kSeconds)
                arrivals.push_back(
                    {delivery.t_end_s, static_cast<LinkId>(link),
                     std::as_bytes(std::span(streams[link]->bytes)).subspan(delivery.offset, delivery.size)});
    }
    std::ranges::stable_sort(arrivals, {}, &Arrival::t_s);
    Pipeline pipeline(setup, clock.at(0));
    pipeline.fly_one_prediction_in(20);
    create_recording(path, texts_of(setup), pipeline.schema(),
                     {.t_start_ns = clock.at(0), .utc_start_ns = clock.at(0), .name = "", .continues = ""}, false);
    {
        RecordingFile file(path, pipeline.schema(), false);
        InputCounter counter(streams.size(), clock.at(0));
        Batch batch;
        for (const Arrival& arrival : arrivals) {
            Inputs inputs;
            counter.chunk(arrival.link, clock.at(arrival.t_s), clock.at(arrival.t_s), arrival.bytes, inputs);
            batch.clear();
            pipeline.take(inputs, batch);
            file.append(inputs);
            file.append(batch, pipeline.progress());
        }
        file.close("clean");
    }
    REQUIRE(make_single_file(path));
    return path;
}

std::size_t combined_in(const std::filesystem::path& path) {
    auto reader = RecordingReader::open(path);
    REQUIRE(reader);
    std::size_t combined = 0;
    for (std::int64_t after = 0;;) {
        const FramePage page = reader->frames(after, 500, {});
        if (page.frames.empty()) return combined;
        for (const FrameRecord& frame : page.frames) {
            combined += frame.frame_verdict == FrameVerdict::combined ? 1 : 0;
            if (frame.frame_verdict == FrameVerdict::combined) CHECK(frame.link_bytes == 0);
        }
        after = page.ids.back();
    }
}

std::size_t bytes_on(const std::filesystem::path& path, const std::string& link) {
    auto reader = RecordingReader::open(path);
    REQUIRE(reader);
    const auto setup = reader->setup();
    REQUIRE(setup);
    std::size_t bytes = 0;
    reader->inputs(
        [&](const ChunkRecord& chunk, std::span<const std::byte> each) {
            if (setup->links.at(chunk.link).name == link) bytes += each.size();
        },
        [](const ActionRecord&) {});
    return bytes;
}

} // namespace

TEST_CASE(
    "two stations' recordings are joined: clocks are compared, damaged frames of both are combined, it verifies") {
    const test::TemporaryFolder folder;
    const sim::FlightResult& flight = heard_by_three();
    const StationClock theirs{.ahead_s = 3.25, .drift_ppm = 40};
    const auto here = record_station(folder.path() / "here.sqlite", {}, {&flight.received, flight.further.data()});
    const auto there = record_station(folder.path() / "there.sqlite", theirs, {&flight.further[1]});
    CHECK(combined_in(here) == 0); // two receivers do not vote
    CHECK(combined_in(there) == 0);

    const auto made = import_station({here, there, folder.path()}, kGoOn);
    INFO((made ? made->dump(1) : made.error().message));
    REQUIRE(made);
    const json& alignment = made->at("alignment");
    CHECK(alignment.at("method") == "packets");
    CHECK(alignment.at("packets") > 500);
    CHECK(alignment.at("offset_s").get<double>() == Approx(3.25 + 20 * 40e-6).margin(0.002));
    CHECK(alignment.at("sigma_s").get<double>() < 0.002);

    const auto joined = folder.path() / made->at("file").get<std::string>();
    const auto verified = verify_recording(joined);
    REQUIRE(verified);
    INFO(verified->first_difference);
    CHECK(verified->differences == 0);
    CHECK(verified->frames > 3000);
    CHECK(bytes_on(joined, "radio") == bytes_on(here, "radio"));
    CHECK(bytes_on(joined, "radio2") == bytes_on(here, "radio2"));
    CHECK(bytes_on(joined, "radio-2") == bytes_on(there, "radio"));

    // None lost, and none whole on any of the three: what a vote of three can give, most of it does.
    std::size_t possible = 0;
    for (std::size_t i = 0; i < flight.sent.packets.size(); ++i) {
        if (flight.sent.packets[i].t_end_s > kSeconds) break;
        const sim::PacketFate of[] = {flight.received.fates[i], flight.further[0].fates[i], flight.further[1].fates[i]};
        possible +=
            std::ranges::all_of(
                of, [](const sim::PacketFate& fate) { return fate.fate != sim::Fate::lost && fate.intact_copies == 0; })
                ? 1
                : 0;
    }
    CHECK(possible > 200);
    CHECK(combined_in(joined) > possible * 8 / 10);
    CHECK(combined_in(joined) <= possible);
    double only = 0, from = 0;
    REQUIRE(made->at("links").size() == 3);
    for (const json& link : made->at("links")) {
        only += link.at("only_here").get<double>();
        from += link.at("combined_from").get<double>();
        CHECK(link.at("first_here").get<double>() <= link.at("received").get<double>());
    }
    CHECK(only > 0);
    CHECK(from == 3 * static_cast<double>(combined_in(joined)));
}

TEST_CASE("what cannot be joined is refused with what to do") {
    const test::TemporaryFolder folder;
    const auto here = record_station(folder.path() / "here.sqlite", {}, {&heard_by_three().received});
    const auto itself = import_station({here, here, folder.path()}, kGoOn);
    REQUIRE_FALSE(itself);
    CHECK(itself.error().message.find("joined with itself") != std::string::npos);
    const auto missing = import_station({here, folder.path() / "none.sqlite", folder.path()}, kGoOn);
    CHECK_FALSE(missing);
}

TEST_CASE("clocks of stations: offset and drift from common packets, UTC where there are none") {
    // Their clock runs 25 ppm fast and was 5 s ahead at their second 100; 20 % of the packets came late by a retry.
    RadioRecord here, there;
    for (std::uint64_t k = 0; k < 3000; ++k) {
        const auto t_ns = static_cast<std::int64_t>(k) * 200 * kNsPerMs;
        const std::int64_t late_ns = k % 5 == 0 ? 80 * kNsPerMs : 0;
        const double away_s = 1e-9 * static_cast<double>(t_ns) - 95;
        here.packets.push_back({k + 1, 7 * k, kStart_ns + t_ns, 0, 1, 0});
        if (k % 3 != 0)
            there.packets.push_back({k + 1, 7 * k,
                                     kStart_ns + 100 * kNsPerS + std::llround(1e9 * away_s * (1 + 25e-6)) + late_ns, 0,
                                     1, 0});
    }
    const StationTimes times = times_by_packets(here, there, 0);
    CHECK(times.by == StationsBy::packets);
    CHECK(times.packets == there.packets.size());
    CHECK(times.drift_ppm == Approx(25).margin(0.1));
    for (const double t_s : {0.0, 300.0, 599.0}) {
        const std::int64_t other_ns = kStart_ns + 100 * kNsPerS + std::llround(1e9 * (t_s - 95) * (1 + 25e-6));
        CHECK(std::abs(seconds_between(kStart_ns + std::llround(1e9 * t_s), times.station_ns(other_ns))) < 1e-4);
    }
    there.packets.resize(9);
    const StationTimes by_utc = times_by_packets(here, there, 2 * kNsPerS);
    CHECK(by_utc.by == StationsBy::utc);
    CHECK(by_utc.station_ns(kStart_ns + 12 * kNsPerS) == kStart_ns + 10 * kNsPerS);
}
