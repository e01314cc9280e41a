// Predictions flown beside the pipeline, by a thread that the system runs when it likes, are those that the pipeline
// flies alone: a simulated flight both ways.
#include <cmath>

#include <catch2/catch.hpp>

#include "server/ingest/prediction_thread.hpp"
#include "shared/time.hpp"
#include "tests/support/demo_setup.hpp"
#include "tests/support/scenario.hpp"
#include "tools/sim/fly.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr std::int64_t kFirst_ns = 1'779'028'325'000'000'000;
constexpr double kUntil_s = 45; // on the rail, up, and down under the drogue for a while

/// Calls `after_each` after every chunk.
template <class AfterEach>
Batch flown(Pipeline& pipeline, const sim::FlightResult& flight, AfterEach&& after_each) {
    Batch batch;
    for (const sim::Delivery& delivery : flight.received.deliveries) {
        if (delivery.t_end_s > kUntil_s) break;
        const std::int64_t t_ns = kFirst_ns + seconds_to_ns(delivery.t_end_s);
        pipeline.chunk(0, t_ns, t_ns,
                       std::as_bytes(std::span(flight.received.bytes).subspan(delivery.offset, delivery.size)), batch);
        after_each();
    }
    return batch;
}

std::size_t predictions_in(const Batch& batch, const Schema& schema) {
    std::size_t count = 0;
    for (const RowRecord& row : batch.rows) {
        const Table& table = schema.tables[row.table];
        const bool is_prediction =
            table.name.ends_with("/estimate/landing") || table.name.ends_with("/estimate/ascent");
        if (is_prediction && std::isfinite(batch.numbers_of(row, table).front())) ++count;
    }
    return count;
}

} // namespace

TEST_CASE("predictions that another thread flies are the same, bit for bit") {
    const PipelineSetup setup = demo_setup();
    auto scenario = demo_scenario("nominal");
    scenario.before_ignition_s = 15;
    const sim::FlightResult flight = sim::fly(scenario, 5);
    Pipeline alone(setup, kFirst_ns), helped(setup, kFirst_ns);
    alone.fly_one_prediction_in(4); // a minute for all of them under sanitizers
    helped.fly_one_prediction_in(4);
    const Batch wanted = flown(alone, flight, [] {});
    PredictionThread predictions;
    predictions.fly_for(&helped);
    std::size_t looks = 0;
    const Batch got = flown(helped, flight, [&] {
        if (!helped.has_work_ahead()) return;
        predictions.look();
        ++looks;
    });
    predictions.fly_for(nullptr);
    CHECK(looks > 100);
    CHECK(predictions_in(wanted, alone.schema()) > 15);
    CHECK(got == wanted);
}
