// What a new recording begins with is enough for its estimates to continue a flight under way: simulated flights, cut
// at moments of each phase, against the pipeline that saw all of it.
#include <cmath>
#include <map>

#include <catch2/catch.hpp>

#include "server/ingest/recent_inputs.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "server/setup/serve_setup.hpp"
#include "shared/time.hpp"
#include "tests/support/scenario.hpp"
#include "tools/sim/fly.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr std::int64_t kStart_ns = 1'779'028'325'000'000'000;

std::shared_ptr<const PipelineSetup> flight_setup() {
    Settings settings;
    settings.vehicles = {demo_path("sanderling")};
    settings.site = demo_path("site.json");
    settings.links = {parse_link_uri("udp://127.0.0.1:9000?name=radio").value()};
    std::vector<Problem> problems;
    return read_setup(settings, problems).value().pipeline;
}

/// What a tape shows last.
struct Shown {
    std::string phase;
    std::map<std::string, double> newest; ///< by table and column
    void take(const Batch& batch, const Schema& schema) {
        for (const Event& event : batch.events)
            if (event.kind == EventKind::phase) phase = event.text;
        for (const RowRecord& row : batch.rows) {
            const Table& table = schema.tables[row.table];
            const auto numbers = batch.numbers_of(row, table);
            for (std::size_t c = 0; c < numbers.size(); ++c)
                newest[table.name + "/" + table.columns[c].name] = numbers[c];
        }
    }
    [[nodiscard]] double height_m() const { return newest.at("sanderling/estimate/vertical/altitude_m"); }
};

} // namespace

TEST_CASE("a new recording in flight shows the same phase and height as the one before") {
    const auto setup = flight_setup();
    const sim::FlightResult flight = sim::fly(demo_scenario("nominal"), 5);
    const auto& events = flight.truth.events;
    for (const double cut_s : {events.ignition_s - 3, events.ignition_s + 1, events.ignition_s + 5, events.apogee_s + 2,
                               events.apogee_s + 20}) {
        INFO("cut " << cut_s - events.ignition_s << " s after ignition");
        Pipeline first(*setup, kStart_ns);
        first.fly_one_prediction_in(0);
        Shown before, after;
        RecentInputs recent;
        std::optional<Pipeline> second;
        InputCounter counter(1, kStart_ns), carried_counter(1, kStart_ns);
        std::int64_t needs_since_ns = kStart_ns;
        for (const sim::Delivery& delivery : flight.received.deliveries) {
            const std::int64_t t_ns = kStart_ns + seconds_to_ns(delivery.t_end_s);
            auto inputs = std::make_shared<Inputs>();
            counter.chunk(0, t_ns, t_ns,
                          std::as_bytes(std::span(flight.received.bytes).subspan(delivery.offset, delivery.size)),
                          *inputs);
            Batch batch;
            first.take(*inputs, batch);
            before.take(batch, first.schema());
            recent.add(inputs);
            if (!second && delivery.t_end_s >= cut_s) {
                needs_since_ns = first.needs_inputs_since_ns();
                // No more than is needed: some rest on the rail and the flight.
                CHECK(seconds_between(needs_since_ns, t_ns) < 31 + std::max(0.0, cut_s - events.ignition_s));
                Inputs carried;
                recent.since(needs_since_ns, [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
                    carried_counter.chunk(chunk.link, chunk.t_rx_ns, chunk.utc_rx_ns, bytes, carried, true);
                });
                REQUIRE_FALSE(carried.empty());
                second.emplace(*setup, carried.chunks.front().t_rx_ns);
                second->fly_one_prediction_in(0);
                batch.clear();
                second->take(carried, batch);
                after.take(batch, second->schema());
            } else if (second) {
                batch.clear();
                second->take(*inputs, batch);
                after.take(batch, second->schema());
            } else {
                recent.forget_before(first.needs_inputs_since_ns());
                continue;
            }
            if (delivery.t_end_s < cut_s + 0.5) {
                REQUIRE(after.phase == before.phase);
                REQUIRE(after.height_m() == Approx(before.height_m()).margin(3));
            }
            if (delivery.t_end_s > cut_s + 10) break;
        }
        REQUIRE(second);
        CHECK(after.phase == before.phase);
        CHECK(after.height_m() == Approx(before.height_m()).margin(3));
    }
}
