#include <thread>

#include <catch2/catch.hpp>

#include "server/record/write/recorder_queue.hpp"
#include "tests/record/support.hpp"

namespace turnstone {
namespace {

using namespace record_test;
using namespace std::chrono_literals;

RecorderQueue::Clock::time_point soon() {
    return RecorderQueue::Clock::now() + 1ms;
}

TEST_CASE("what is taken with the stop is everything that was put") {
    RecorderQueue queue(1u << 20);
    BatchMaker maker;
    queue.put_batch(maker.next());
    CHECK_FALSE(queue.take(soon(), true).stopped);
    queue.put_batch(maker.next());
    queue.put_batch(maker.next());
    queue.stop();
    const auto last = queue.take(soon(), false);
    CHECK(last.stopped);
    CHECK(last.commands.size() == 2);
    const auto after = queue.take(soon(), true);
    CHECK(after.stopped);
    CHECK(after.commands.empty());
}

TEST_CASE("a queue over its limit keeps inputs and events, then drops, and counts each row and byte") {
    RecorderQueue queue(20'000);
    BatchMaker maker;
    std::uint64_t rows = 0, batches = 0;
    for (int i = 0; i < 200; ++i) queue.put_batch(maker.next(100));
    const RecorderStatus status = queue.status();
    std::size_t bytes = 0;
    bool whole_before = true;
    for (const RecorderCommand& command : queue.take(soon(), true).commands) {
        const bool whole = !command.batch->rows.empty();
        CHECK((whole_before || !whole)); // once full, rows stay out
        whole_before = whole;
        rows += command.batch->rows.size();
        batches += 1;
        bytes += command.bytes;
        CHECK(command.batch->bytes.size() == 100);
    }
    CHECK(status.batches_dropped > 0);
    CHECK(batches + status.batches_dropped == 200);
    CHECK(rows + status.rows_dropped + status.batches_dropped == 200);
    CHECK(status.bytes_dropped == 100 * status.batches_dropped);
    CHECK(status.queue_bytes == bytes);
    CHECK(bytes <= 25'000);
}

TEST_CASE("a flush returns when its turn has come, or when nothing more will be written") {
    RecorderQueue queue(1u << 20);
    CHECK_FALSE(queue.flush(1ms));
    const auto taken = queue.take(soon(), true);
    REQUIRE(taken.commands.size() == 1);
    const bool answered = GENERATE(true, false);
    if (answered) {
        std::thread thread([&] {
            for (;;) {
                for (const RecorderCommand& command : queue.take(soon(), true).commands) {
                    queue.flushed(command.ticket);
                    return;
                }
            }
        });
        CHECK(queue.flush(10s));
        thread.join();
    } else {
        std::thread thread([&] {
            while (queue.take(soon(), true).commands.empty()) {
            }
            queue.let_go();
        });
        CHECK(queue.flush(10s));
        thread.join();
    }
}

} // namespace
} // namespace turnstone
