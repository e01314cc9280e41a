// The machines beside the rocket, from their sentences to what a station makes of them: a boat whose cooling fails
// raises what it should and when, and neither boat nor weather station changes a bit of what is made of the rocket.
#include <catch2/catch.hpp>

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <map>
#include <set>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "server/setup/vehicle_folder.hpp"
#include "shared/time.hpp"
#include "tests/support/tree.hpp"
#include "tests/trials/seeds.hpp"
#include "tools/sim/fly.hpp"
#include "tools/sim/surface/surface.hpp"
#include "tools/trials/trial.hpp"

using namespace turnstone;
using namespace turnstone::trials;

namespace {

constexpr std::int64_t kBeside_ns = 1'790'000'000 * kNsPerS;
constexpr double kBesideUtc_s = 1'790'000'000;
constexpr double kCoolingHolds = std::numeric_limits<double>::quiet_NaN();

VehicleSetup demo_machine(const std::string& name) {
    std::vector<Problem> problems;
    auto setup = read_vehicle_folder(test::demo_path(name), problems);
    INFO(to_string(problems));
    REQUIRE(setup);
    return std::move(*setup);
}

/// Takes `part` out of the vehicle's dictionary.
void without(VehicleSetup& vehicle, const std::string& part) {
    std::string text = vehicle.dictionary_json;
    const std::size_t at = text.find(part);
    REQUIRE(at != std::string::npos);
    text.erase(at, part.size());
    std::vector<Problem> problems;
    auto read = read_vehicle_texts(text, vehicle.vehicle_json, "test", problems);
    INFO(to_string(problems));
    REQUIRE(read);
    vehicle = std::move(*read);
}

Site demo_site() {
    std::vector<Problem> problems;
    Site site = read_site(test::read_json(test::demo_path("site.json")), "site.json", problems);
    INFO(to_string(problems));
    REQUIRE(problems.empty());
    return site;
}

/// Vehicles of the demo with a link each.
PipelineSetup station_with(const std::vector<std::string>& names) {
    PipelineSetup setup;
    setup.site = demo_site();
    for (const std::string& name : names) {
        setup.links.push_back({name, name == "sanderling" ? "trial:" : "trial:?framing=nmea", setup.vehicles.size()});
        setup.vehicles.push_back(demo_machine(name));
    }
    return setup;
}

/// What each link brings, in the order of time, and what time alone makes until `for_s`; `on_batch` sees what is made
/// of each piece.
void play(Pipeline& pipeline, const std::vector<const sim::DeliveredStream*>& links, double for_s,
          const auto& on_batch) {
    struct Piece {
        LinkId link;
        const sim::Delivery* delivery;
    };
    std::vector<Piece> pieces;
    for (std::size_t k = 0; k < links.size(); ++k)
        for (const sim::Delivery& delivery : links[k]->deliveries)
            pieces.push_back({static_cast<LinkId>(k), &delivery});
    std::ranges::stable_sort(pieces, {}, [](const Piece& piece) { return piece.delivery->t_end_s; });
    Batch batch;
    for (const Piece& piece : pieces) {
        const std::int64_t t_ns = kBeside_ns + seconds_to_ns(piece.delivery->t_end_s);
        const auto& bytes = links[piece.link]->bytes;
        pipeline.chunk(piece.link, t_ns, t_ns,
                       std::as_bytes(std::span(bytes).subspan(piece.delivery->offset, piece.delivery->size)), batch);
        on_batch(batch);
        batch.clear();
    }
    pipeline.advance(kBeside_ns + seconds_to_ns(for_s), batch);
    on_batch(batch);
}

struct Raised {
    Level level;
    double t_s; ///< of the run
};

/// Alerts by their keys, in their order.
std::map<std::string, std::vector<Raised>> alerts_of_boat(const PipelineSetup& setup, double for_s,
                                                          double cooling_fails_s) {
    Pipeline pipeline(setup, kBeside_ns);
    const sim::SurfaceStream said = sim::boat_stream(setup.site, first_seed(), kBesideUtc_s, for_s, cooling_fails_s);
    std::map<std::string, std::vector<Raised>> out;
    play(pipeline, {&said}, for_s + 1, [&](const Batch& batch) {
        for (const Event& event : batch.events)
            if (event.kind == EventKind::alert_raised)
                out[event.key].push_back({event.level, seconds_between(kBeside_ns, event.t_found_ns)});
    });
    return out;
}

/// The first second at which the boat's own figure is beyond the limit.
double passes_s(double cooling_fails_s, double sim::BoatState::*figure, double limit) {
    sim::Boat boat(demo_site(), first_seed());
    boat.cooling_fails_s = cooling_fails_s;
    for (double t_s = 0; t_s < 3600; t_s += 1) {
        boat.advance(t_s);
        if (boat.state().*figure > limit) return t_s;
    }
    return NAN;
}

std::string keys_of(const auto& alerts) {
    std::string out;
    for (const auto& [key, raised] : alerts) out += key + " ";
    return out;
}

/// Rows of the rocket by table and the rest of what is made of it.
struct OfRocket {
    struct Row {
        std::int64_t t_ns, t_rx_ns;
        std::vector<std::uint64_t> numbers; ///< by their bits
        std::vector<std::string> texts;
        friend bool operator==(const Row&, const Row&) = default;
    };
    std::map<std::string, std::vector<Row>> rows;
    std::vector<FrameRecord> frames;
    std::vector<Event> events;
    std::map<std::string, std::size_t> rows_of_others;
};

/// Those with another row before `until_ns`.
std::set<std::string> tables_that_differ(const OfRocket& a, const OfRocket& b,
                                         std::int64_t until_ns = std::numeric_limits<std::int64_t>::max()) {
    const auto before = [&](std::vector<OfRocket::Row> rows) {
        std::erase_if(rows, [&](const OfRocket::Row& row) { return row.t_ns >= until_ns; });
        return rows;
    };
    std::set<std::string> out;
    for (const OfRocket* one : {&a, &b}) {
        const OfRocket& other = one == &a ? b : a;
        for (const auto& [table, rows] : one->rows)
            if (const auto there = other.rows.find(table);
                there == other.rows.end() || before(rows) != before(there->second))
                out.insert(table);
    }
    return out;
}

/// Sentences of those that only one has.
std::vector<std::string> events_that_differ(const OfRocket& a, const OfRocket& b) {
    std::vector<std::string> out;
    for (const OfRocket* one : {&a, &b})
        for (const Event& event : one->events)
            if (std::ranges::find((one == &a ? b : a).events, event) == (one == &a ? b : a).events.end())
                out.push_back(event.text);
    return out;
}

OfRocket of_rocket(const PipelineSetup& setup, const std::vector<const sim::DeliveredStream*>& links, double for_s) {
    Pipeline pipeline(setup, kBeside_ns);
    pipeline.set_prediction_period(kInfinity); // which the mast's wind is to change
    OfRocket out;
    play(pipeline, links, for_s, [&](const Batch& batch) {
        for (const FrameRecord& frame : batch.frames)
            if (frame.link == 0) out.frames.push_back(frame);
        for (const Event& event : batch.events)
            if (event.vehicle == 0 || event.key.starts_with("link/sanderling")) out.events.push_back(event);
        for (const RowRecord& row : batch.rows) {
            const Table& table = pipeline.schema().tables[row.table];
            if (table.vehicle != 0 && table.name != "link/sanderling") {
                ++out.rows_of_others[table.name];
                continue;
            }
            OfRocket::Row& kept = out.rows[table.name].emplace_back(OfRocket::Row{row.t_ns, row.t_rx_ns, {}, {}});
            for (const double value : batch.numbers_of(row, table))
                kept.numbers.push_back(std::bit_cast<std::uint64_t>(value));
            const auto texts = batch.texts_of(row, table);
            kept.texts.assign(texts.begin(), texts.end());
        }
    });
    return out;
}

} // namespace

TEST_CASE("a boat that runs well raises nothing, also while its oil pressure is low at the start") {
    PipelineSetup setup = station_with({"petrel"});
    const auto alerts = alerts_of_boat(setup, 900, kCoolingHolds);
    INFO(keys_of(alerts));
    CHECK(alerts.empty());

    // The pressure is low there: without the condition on the revolutions it is an alert.
    without(setup.vehicles.front(), R"("while": {"channel": "engine.engine_speed", "above": 500, "for_s": 8}, )");
    const auto always = alerts_of_boat(setup, 60, kCoolingHolds);
    REQUIRE(always.contains("petrel/limit/transducers.oil_pressure/low"));
    CHECK(always.at("petrel/limit/transducers.oil_pressure/low").front().t_s < sim::Boat::kStart_s);
}

TEST_CASE("a boat whose cooling fails raises coolant and exhaust after their delay, and nothing else") {
    constexpr double kFails_s = 200;
    const auto alerts = alerts_of_boat(station_with({"petrel"}), 600, kFails_s);
    INFO(keys_of(alerts));
    CHECK(alerts.size() == 2);
    struct Limit {
        std::string key;
        double sim::BoatState::*figure;
        std::vector<std::pair<Level, double>> limits; ///< as the demo's dictionary has them
    };
    for (const Limit& each : {Limit{"petrel/limit/transducers.coolant_temperature/high",
                                    &sim::BoatState::coolant_k,
                                    {{Level::caution, 368}, {Level::warning, 373}}},
                              Limit{"petrel/limit/transducers.exhaust_temperature/high",
                                    &sim::BoatState::exhaust_k,
                                    {{Level::caution, 343}, {Level::warning, 363}}}}) {
        INFO(each.key);
        REQUIRE(alerts.contains(each.key));
        const std::vector<Raised>& raised = alerts.at(each.key);
        REQUIRE(raised.size() == each.limits.size());
        for (std::size_t k = 0; k < raised.size(); ++k) {
            const double passed_s = passes_s(kFails_s, each.figure, each.limits[k].second);
            INFO("passed at " << passed_s << " s, raised at " << raised[k].t_s << " s");
            CHECK(passed_s > kFails_s);
            CHECK(raised[k].level == each.limits[k].first);
            // Five seconds of delay; what the boat says of a second is heard a third of one later, and once in each.
            CHECK(raised[k].t_s >= passed_s + 5);
            CHECK(raised[k].t_s < passed_s + 6.4);
        }
    }
}

TEST_CASE("an engine alarm is raised once a level, acknowledged once a level, and returns once") {
    constexpr double kFails_s = 100, kFixed_s = 500, kEnd_s = 700;
    const PipelineSetup setup = station_with({"petrel"});
    Pipeline pipeline(setup, kBeside_ns);
    // The same boat with its cooling restored and its engine cold, after the one that ran hot.
    sim::SurfaceStream said = sim::boat_stream(setup.site, first_seed(), kBesideUtc_s, kFixed_s, kFails_s);
    const sim::SurfaceStream cooled =
        sim::boat_stream(setup.site, first_seed(), kBesideUtc_s + kFixed_s, kEnd_s - kFixed_s, kCoolingHolds);
    for (sim::Delivery delivery : cooled.deliveries) {
        delivery.offset += said.bytes.size();
        delivery.t_end_s += kFixed_s;
        said.deliveries.push_back(delivery);
    }
    said.bytes.insert(said.bytes.end(), cooled.bytes.begin(), cooled.bytes.end());

    std::map<std::string, std::vector<std::string>> lives;
    Batch answers;
    play(pipeline, {&said}, kEnd_s + 1, [&](const Batch& batch) {
        for (const Batch* one : {&batch, static_cast<const Batch*>(&answers)})
            for (const Event& event : one->events)
                if (event.key.starts_with("petrel/limit/"))
                    lives[event.key].push_back(std::string(word(event.kind)) + " " + std::string(word(event.level)));
        answers.clear();
        for (const Event& event : batch.events)
            if (event.kind == EventKind::alert_raised)
                pipeline.action(event.t_found_ns, Acknowledge{event.key}, answers);
    });
    const std::vector<std::string> once{"alert_raised caution", "alert_acknowledged caution", "alert_raised warning",
                                        "alert_acknowledged warning", "alert_cleared warning"};
    CHECK(lives.size() == 2);
    CHECK(lives["petrel/limit/transducers.coolant_temperature/high"] == once);
    CHECK(lives["petrel/limit/transducers.exhaust_temperature/high"] == once);
}

TEST_CASE("where a boat is stays known, whenever its fixes come between the estimates") {
    const PipelineSetup setup = station_with({"petrel"});
    constexpr double kFor_s = 20;
    const sim::SurfaceStream said = sim::boat_stream(setup.site, first_seed(), kBesideUtc_s, kFor_s, kCoolingHolds);
    for (const double begun_s : {0.0, 0.02, 0.04, 0.06, 0.08}) { // estimates come ten times a second from then on
        Pipeline pipeline(setup, kBeside_ns - seconds_to_ns(begun_s));
        int rows = 0;
        play(pipeline, {&said}, kFor_s, [&](const Batch& batch) {
            for (const RowRecord& row : batch.rows)
                rows += pipeline.schema().tables[row.table].name == "petrel/estimate/last_place";
        });
        INFO("begun " << begun_s << " s before");
        CHECK(rows >= 12);
    }
}

TEST_CASE("a boat and a weather station change nothing of the rocket's frames, rows and events but its wind") {
    const sim::FlightResult flight = sim::fly(trial_scenario("nominal", "mild", "acceptance"), first_seed());
    const double for_s = flight.truth.samples.back().t_s;
    const Site site = demo_site();
    const auto boat = sim::boat_stream(site, first_seed(), kBesideUtc_s, for_s, kCoolingHolds);
    const auto weather = sim::weather_stream(site, first_seed(), for_s);
    const auto beside = [&](const PipelineSetup& setup) {
        OfRocket out = of_rocket(setup, {&flight.received, &boat, &weather}, for_s + 5);
        CHECK(static_cast<double>(out.rows_of_others["mast/wind"]) > for_s - 3);
        CHECK(static_cast<double>(out.rows_of_others["petrel/transducers"]) > for_s - 3);
        return out;
    };
    const OfRocket alone = of_rocket(station_with({"sanderling"}), {&flight.received}, for_s + 5);
    CHECK(alone.frames.size() > 3000);

    // A mast whose wind nobody uses: every bit is the same.
    PipelineSetup unused = station_with({"sanderling", "petrel", "mast"});
    without(unused.vehicles.back(), R"("role": "wind_speed", )");
    without(unused.vehicles.back(), R"("role": "wind_from", )");
    const OfRocket same = beside(unused);
    CHECK(alone.frames == same.frames);
    CHECK(tables_that_differ(alone, same) == std::set<std::string>{});
    CHECK(events_that_differ(alone, same) == std::vector<std::string>{});

    // The demo's: what was received is the same, and until liftoff everything but the board, which shows the wind.
    const OfRocket windy = beside(station_with({"sanderling", "petrel", "mast"}));
    CHECK(alone.frames == windy.frames);
    const std::int64_t liftoff_ns = kBeside_ns + seconds_to_ns(flight.truth.events.liftoff_s);
    CHECK(tables_that_differ(alone, windy, liftoff_ns) == std::set<std::string>{"sanderling/readiness"});
    for (const std::string& table : tables_that_differ(alone, windy)) {
        INFO(table);
        CHECK((table == "sanderling/readiness" || table.starts_with("sanderling/estimate/")));
    }
    for (const std::string& text : events_that_differ(alone, windy)) {
        INFO(text);
        CHECK((text.starts_with("Wind, ") || text.starts_with("Board at liftoff")));
    }
}
