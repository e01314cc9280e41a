/// What a viewer gets that joins a live tape: no hole between what the file holds, which is up to two seconds late, and
/// what the stream brings from then on.
#include <catch2/catch.hpp>

#include <cstring>
#include <set>

#include "server/serve/stream/recent.hpp"
#include "tests/serve/fixture.hpp"
#include "tests/support/recorder_settings.hpp"

using namespace turnstone;
using nlohmann::json;
using namespace std::chrono_literals;

namespace {

constexpr double kPeriod_s = 0.1;

Batch tick(int number) {
    Batch batch;
    add_row(batch, 0, number * kPeriod_s, {number * 1.0, 0.0});
    return batch;
}

std::uint64_t seq_of(const std::string& bytes) {
    std::uint64_t seq = 0;
    std::memcpy(&seq, bytes.data() + 8, sizeof seq);
    return seq;
}

/// First channel of the first row.
int count_of(const std::string& bytes) {
    double value = 0;
    std::memcpy(&value, bytes.data() + 24 + 8 + 8, sizeof value);
    return static_cast<int>(value);
}

LiveMessage block_of(std::size_t bytes) {
    return BlockMessage{.wire = std::make_shared<const std::string>(bytes, 'x')};
}

} // namespace

TEST_CASE("the last five seconds are kept, within four megabytes") {
    Recent recent;
    for (std::int64_t i = 0; i <= 100; ++i) recent.add(block_of(10), i * 100'000'000);
    CHECK(recent.messages().size() == 51); // from 5 s to 10 s
    for (std::int64_t i = 0; i < 100; ++i) recent.add(block_of(1 << 20), 10'000'000'000);
    CHECK(recent.messages().size() == 4);
    recent.add(block_of(5 << 20), 10'000'000'000); // larger than all: kept by nobody
    CHECK(recent.messages().empty());
    recent.add(block_of(10), 10'000'000'000);
    recent.clear();
    CHECK(recent.messages().empty());
}

TEST_CASE("history from the file and the stream's first blocks leave no hole when a viewer joins") {
    LiveServer live;
    RecorderSettings settings = test::recorder_settings(live.folder.path());
    settings.sync_every_commit = false;
    Recorder recorder(settings, *golden_setup());
    REQUIRE(begin_recording(recorder, *golden_schema()) == kTapeId);
    constexpr int kTicks = 120;
    constexpr int kLate = 20; // the file ends two seconds before the stream
    for (int i = 0; i < kTicks; ++i) {
        Batch batch = tick(i);
        if (i == 110) batch.events.push_back(note_event(i * kPeriod_s, "just now"));
        if (i < kTicks - kLate) recorder.push(std::make_shared<const Batch>(batch), {});
        live.publish(std::move(batch));
    }
    REQUIRE(recorder.flush(10'000));

    StreamClient client(live.port());
    REQUIRE(client.next()->type() == "hello");
    std::set<int> seen;
    std::set<std::string> events;
    live.publish(tick(kTicks)); // and on it goes
    std::optional<std::uint64_t> last_seq;
    while (!seen.contains(kTicks)) {
        const auto message = client.next();
        REQUIRE(message);
        if (message->type() == "event") events.insert(message->json().at("data").at("text"));
        if (!message->binary) continue;
        if (last_seq) CHECK(seq_of(message->bytes) == *last_seq + 1);
        last_seq = seq_of(message->bytes);
        seen.insert(count_of(message->bytes));
    }
    CHECK(events.contains("just now"));
    const std::string series = live.get("/api/recordings/live/series?table=0&columns=accel_body_x&points=8192").body;
    for (std::size_t at = 16 + (series.size() - 16) / 2; at < series.size(); at += 8) {
        double value = 0;
        std::memcpy(&value, series.data() + at, sizeof value);
        seen.insert(static_cast<int>(value));
    }
    for (int i = 0; i <= kTicks; ++i) {
        INFO("tick " << i);
        CHECK(seen.contains(i));
    }
}

TEST_CASE("a new tape begins without blocks of the one before") {
    LiveServer live;
    live.publish(tick(1));
    LiveTape next = golden_tape();
    next.id = "second";
    live.server->begin_recording(next);
    StreamClient client(live.port());
    CHECK(client.next()->json().at("description").at("recording").at("id") == "second");
    live.publish(tick(7));
    const auto first = client.next_of("binary");
    REQUIRE(first);
    CHECK(seq_of(first->bytes) == 0);
    CHECK(count_of(first->bytes) == 7);
}
