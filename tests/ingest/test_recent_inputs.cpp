#include <catch2/catch.hpp>

#include "server/ingest/recent_inputs.hpp"

using namespace turnstone;

namespace {

std::shared_ptr<const Inputs> chunk_at(std::int64_t t_ns, std::size_t bytes = 10) {
    InputCounter counter(1, t_ns);
    auto inputs = std::make_shared<Inputs>();
    counter.chunk(0, t_ns, t_ns, std::vector<std::byte>(bytes), *inputs);
    return inputs;
}

std::vector<std::int64_t> times_since(const RecentInputs& recent, std::int64_t t_ns) {
    std::vector<std::int64_t> out;
    recent.since(t_ns, [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
        CHECK(bytes.size() == chunk.bytes.size);
        out.push_back(chunk.t_rx_ns);
    });
    return out;
}

} // namespace

TEST_CASE("inputs are kept as long as they are needed, and what came before can be put in front") {
    RecentInputs recent, earlier;
    for (const std::int64_t t_ns : {10, 20, 30, 40}) recent.add(chunk_at(t_ns));
    CHECK(times_since(recent, 0) == std::vector<std::int64_t>{10, 20, 30, 40});
    CHECK(times_since(recent, 20) == std::vector<std::int64_t>{20, 30, 40});
    recent.forget_before(25);
    CHECK(times_since(recent, 0) == std::vector<std::int64_t>{30, 40});
    for (const std::int64_t t_ns : {1, 2}) earlier.add(chunk_at(t_ns));
    recent.put_before(earlier);
    CHECK(times_since(recent, 0) == std::vector<std::int64_t>{1, 2, 30, 40});
}

TEST_CASE("no more is kept than fits, the newest") {
    RecentInputs recent;
    for (std::int64_t t_ns = 1; t_ns <= 100; ++t_ns) {
        recent.add(chunk_at(t_ns, 1u << 20));
        recent.forget_before(0);
    }
    const auto times = times_since(recent, 0);
    CHECK(times.size() == 63);
    CHECK(times.back() == 100);
}
