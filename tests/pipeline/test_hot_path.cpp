// No allocation per packet once the batch has its size.
#include <catch2/catch.hpp>

#include <atomic>

#include "tests/pipeline/station.hpp"
#include "tests/support/allocations.hpp"

using namespace turnstone;
using namespace turnstone::test;

TEST_CASE("packets, ticks and link statistics allocate nothing in steady state") {
    const std::int64_t start_ns = 1'780'000'000 * kNsPerS;
    const PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}, {"relay", "test:", 0}, {"far", "test:", 0}});
    std::vector<Sent> sent;
    send(sent, start_ns, 60 * kNsPerS, 1'000, 0);
    const std::vector<Delivery> deliveries =
        in_order({transmit(sent, 0, {0.1, 0.05, 0.05, 0.05}, 1), transmit(sent, 1, {0.1, 0, 0, 0.3}, 2),
                  transmit(sent, 2, {0.1, 0, 0, 0.4}, 3)});
    Pipeline pipeline(setup, start_ns);
    Batch out;
    // One pass over a batch of half the session gives the vectors their size; then batches are cleared as
    // ingest does.
    const std::size_t half = deliveries.size() / 2;
    for (std::size_t k = 0; k < half; ++k)
        pipeline.chunk(deliveries[k].link, deliveries[k].t_ns, deliveries[k].t_ns, deliveries[k].bytes, out);
    CHECK(out.rows.size() > 4500);
    out.clear();
    std::atomic<long> allocations{0};
    allocation_counter = &allocations;
    std::size_t frames = 0;
    for (std::size_t k = half; k < deliveries.size(); ++k) {
        pipeline.chunk(deliveries[k].link, deliveries[k].t_ns, deliveries[k].t_ns, deliveries[k].bytes, out);
        if (k % 100 == 0) {
            frames += out.frames.size();
            out.clear();
        }
    }
    allocation_counter = nullptr;
    CHECK(allocations == 0);
    CHECK(frames > 3000);
}
