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

void put(RecorderQueue& queue, const Piece& piece) {
    queue.put_inputs(piece.inputs);
    queue.put_derived(piece.batch, piece.progress, "");
}

TEST_CASE("what is taken with the stop is everything that was put") {
    RecorderQueue queue(1u << 20);
    BatchMaker maker;
    put(queue, maker.next());
    CHECK_FALSE(queue.take(soon(), true).stopped);
    put(queue, maker.next());
    put(queue, maker.next());
    queue.stop();
    const auto last = queue.take(soon(), false);
    CHECK(last.stopped);
    CHECK(last.commands.size() == 4);
    const auto after = queue.take(soon(), true);
    CHECK(after.stopped);
    CHECK(after.commands.empty());
}

TEST_CASE("a queue over its limit keeps inputs, then drops them, and counts each row and byte") {
    RecorderQueue queue(20'000);
    BatchMaker maker;
    for (int i = 0; i < 200; ++i) put(queue, maker.next(100));
    const RecorderStatus status = queue.status();
    std::size_t bytes = 0, inputs = 0, rows = 0;
    for (const RecorderCommand& command : queue.take(soon(), true).commands) {
        inputs += command.inputs ? 1U : 0U;
        rows += command.batch ? command.batch->rows.size() : 0U;
        bytes += command.bytes;
        if (command.inputs) CHECK(command.inputs->bytes.size() == 100);
    }
    CHECK(status.dropped.inputs > 0);
    CHECK(rows < inputs);
    CHECK(inputs + status.dropped.inputs == 200);
    CHECK(rows + status.dropped.rows == 200);
    CHECK(status.dropped.bytes == 100 * status.dropped.inputs);
    CHECK(status.trouble == RecorderTrouble::bytes_lost);
    CHECK(status.queue_bytes == bytes);
    CHECK(bytes <= 25'000);
}

TEST_CASE("what a recording lost is its own, and once it is lost itself nothing counts") {
    RecorderQueue queue(1);
    BatchMaker maker;
    put(queue, maker.next(100));
    CHECK(queue.status().dropped_here.bytes == 100);
    queue.put({.kind = RecorderCommand::Kind::begin});
    CHECK(queue.status().dropped_here == Drops{});
    CHECK(queue.status().dropped.bytes == 100);
    CHECK(queue.take(soon(), true).commands.front().dropped_before.bytes == 100);
    queue.update([](RecorderStatus& status) { status.lost = true; });
    put(queue, maker.next(100));
    CHECK(queue.status().dropped.bytes == 100);
}

TEST_CASE("inputs that wait for the disk are an age, and trouble when it is a second") {
    RecorderQueue queue(1u << 20);
    BatchMaker maker;
    CHECK(queue.status().behind_s == 0);
    put(queue, maker.next());
    CHECK(queue.status().behind_s > 0);
    CHECK(queue.status().trouble == RecorderTrouble::none);
    CHECK_FALSE(queue.take(soon(), true).commands.empty());
    CHECK(queue.status().behind_s > 0); // taken, not written
    queue.set_oldest(RecorderQueue::Clock::now() - 1500ms);
    CHECK(queue.status().trouble == RecorderTrouble::behind);
    queue.set_oldest({});
    CHECK(queue.status().behind_s == 0);
    CHECK(queue.status().fault.empty());
    queue.update([](RecorderStatus& status) { status.dropped_here.bytes = 7; }); // of a lost file
    CHECK(queue.status().trouble == RecorderTrouble::bytes_lost);
    queue.update([](RecorderStatus& status) { status.dropped_here = {}; });
    queue.update([](RecorderStatus& status) { status.log_bytes = 200u << 20; });
    CHECK(queue.status().trouble == RecorderTrouble::log_grows);
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
