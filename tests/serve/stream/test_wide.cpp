/// A dictionary of 480 channels at 250 Hz, as large test stands have: nobody who reads is closed, live or in replay.
#include <set>

#include <catch2/catch.hpp>

#include <cstring>

#include "tests/serve/fixture.hpp"
#include "tests/support/recorder_settings.hpp"

using namespace turnstone;
using nlohmann::json;
using namespace std::chrono_literals;

namespace {

constexpr std::size_t kChannels = 480;
constexpr double kRowPeriod_s = 0.004;
constexpr std::size_t kMessageMax = 256 << 10;

std::shared_ptr<const Schema> wide_schema() {
    static const auto schema = [] {
        auto made = std::make_shared<Schema>();
        Table table = golden_schema()->tables.at(0);
        table.columns.resize(1);
        for (std::size_t i = 1; i < kChannels; ++i) {
            table.columns.push_back(table.columns.front());
            table.columns.back().name = "channel_" + std::to_string(i);
        }
        table.number_count = kChannels;
        table.period_s = kRowPeriod_s;
        made->tables.push_back(std::move(table));
        return made;
    }();
    return schema;
}

/// `rows` rows from `first` on: the first channel counts them.
Batch wide_batch(int first, int rows) {
    Batch batch;
    std::vector<double> numbers(kChannels, 1.0);
    for (int i = first; i < first + rows; ++i) {
        const auto t_ns = kTapeStartNs + static_cast<std::int64_t>(i) * 4'000'000;
        numbers.front() = i;
        batch.add_row(wide_schema()->tables.front(), t_ns, t_ns, numbers);
    }
    return batch;
}

/// Counts of the rows in a message, which says nothing else.
std::vector<double> counts_in(const std::string& bytes) {
    std::uint32_t rows = 0;
    std::memcpy(&rows, bytes.data() + 24 + 4, sizeof rows);
    std::vector<double> out(rows);
    std::memcpy(out.data(), bytes.data() + 24 + 8 + 8 * std::size_t{rows}, 8 * std::size_t{rows});
    return out;
}

LiveTape wide_tape() {
    LiveTape tape = golden_tape();
    tape.schema = wide_schema();
    return tape;
}

} // namespace

TEST_CASE("a wide tick is divided over messages that a viewer gets whole") {
    LiveServer live({}, false);
    live.server->begin_recording(wide_tape());
    StreamClient client(live.port());
    REQUIRE(client.next_of("hello"));
    constexpr int kRows = 400; // 1.5 MB at once
    live.publish(wide_batch(0, kRows));
    int expected = 0;
    while (expected < kRows) {
        const auto message = client.next_of("binary");
        REQUIRE(message);
        CHECK(message->bytes.size() <= kMessageMax);
        for (const double count : counts_in(message->bytes)) CHECK(count == expected++);
    }
}

TEST_CASE("ticks larger than the hard limit leave blocks out but close nobody") {
    LiveServer live({}, false);
    live.server->begin_recording(wide_tape());
    StreamClient client(live.port());
    REQUIRE(client.next_of("hello"));
    for (int tick = 0; tick < 3; ++tick) live.publish(wide_batch(tick * 2200, 2200)); // 8 MB each
    Batch last;
    last.events.push_back(note_event(30, "last"));
    live.publish(std::move(last));
    // In whichever order they come.
    for (std::set<std::string> missing{"event", "gap", "status"}; !missing.empty();) {
        const auto message = client.next(20s);
        REQUIRE(message);
        missing.erase(message->type());
    }
    CHECK(client.close_code() == 0);
}

TEST_CASE("a wide recording is played as fast as it goes, whole and in small messages") {
    LiveServer live;
    const test::TemporaryFolder other;
    RecorderSettings settings = test::recorder_settings(other.path());
    settings.sync_every_commit = false;
    constexpr int kRows = 1000;
    std::string id;
    {
        Recorder recorder(settings, *golden_setup());
        id = begin_recording(recorder, *wide_schema());
        recorder.push(std::make_shared<const Batch>(wide_batch(0, kRows)), {});
        REQUIRE(recorder.flush(20'000));
    }
    std::filesystem::copy_file(other.recording(id), live.folder.recording("2026-05-16T080000Z-wide"));
    StreamClient client(live.port());
    client.next_of("hello");
    client.send(json{{"type", "open"}, {"recording", "2026-05-16T080000Z-wide"}, {"request", 1}}.dump());
    REQUIRE(client.next_of("replay"));
    client.send(json{{"type", "play"}, {"rate", 100}, {"request", 2}}.dump());
    int expected = 1; // the row at the cursor was shown when it was opened
    while (expected < kRows) {
        const auto message = client.next_of("binary", 10s);
        REQUIRE(message);
        CHECK(message->bytes.size() <= kMessageMax);
        for (const double count : counts_in(message->bytes)) CHECK(count == expected++);
    }
    CHECK(client.close_code() == 0);
}

TEST_CASE("a reader that takes nothing meets the hard limit, one that reads slowly does not") {
    LiveServer live([](ServeSettings& settings) {
        settings.send_buffer_bytes = 16 << 10;
        settings.queue.hard_bytes = 512 << 10;
    });
    StreamClient deaf(live.port(), {}, 16 << 10);
    StreamClient slow(live.port(), {}, 16 << 10);
    REQUIRE(deaf.next());
    REQUIRE(slow.next());
    int heard = 0;
    for (int i = 0; i < 100; ++i) {
        Batch batch;
        batch.events.push_back(note_event(i, std::string(15'000, 'x'))); // 30 kB: an event says its text twice
        live.publish(std::move(batch));
        if (i % 10 == 9) // 300 kB wait in between
            while (heard <= i && slow.next_of("event")) ++heard;
    }
    CHECK(heard == 100);
    for (int messages = 0; messages < 1000 && deaf.next(2000ms);) ++messages;
    CHECK(deaf.close_code() == 4408);
}
