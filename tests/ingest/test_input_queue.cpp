// However far the interpreter falls behind, what waits for it fits into a bounded memory, and nothing is lost.
#include <algorithm>
#include <condition_variable>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <mutex>
#include <string>
#include <variant>
#include <vector>

#include <catch2/catch.hpp>

#include "server/ingest/input_queue.hpp"
#include "server/ingest/interpreter.hpp"
#include "server/record/verify.hpp"
#include "shared/time.hpp"
#include "tests/support/demo_setup.hpp"
#include "tests/support/recorder_settings.hpp"
#include "tests/support/temporary_folder.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr std::int64_t kBegin_ns = 1'779'028'325'000'000'000;

class Chunks {
  public:
    /// The next 100 bytes, 5 ms later: a frame that is none.
    std::shared_ptr<const Inputs> next() {
        Inputs inputs;
        t_ns_ += 5 * kNsPerMs;
        std::vector bytes(100, std::byte{'x'});
        bytes.back() = std::byte{0};
        counter_.chunk(0, t_ns_, t_ns_, bytes, inputs);
        return std::make_shared<const Inputs>(std::move(inputs));
    }
    [[nodiscard]] std::int64_t t_ns() const { return t_ns_; }

  private:
    std::int64_t t_ns_ = kBegin_ns;
    InputCounter counter_{1, kBegin_ns};
};

/// The numbers of the inputs that are taken until the queue is empty.
std::vector<std::uint64_t> take_all(InputQueue& queue) {
    std::vector<std::uint64_t> numbers;
    while (!queue.idle()) {
        const Received taken = *queue.take();
        if (const auto* inputs = std::get_if<std::shared_ptr<const Inputs>>(&taken))
            numbers.push_back((*inputs)->chunks.front().input);
        else if (const auto* stored = std::get_if<StoredInputs>(&taken)) {
            CHECK(stored->count <= InputQueue::kStoredAtOnce);
            for (std::uint64_t i = 0; i < stored->count; ++i) numbers.push_back(stored->first + i);
        }
    }
    return numbers;
}

bool counts_up(const std::vector<std::uint64_t>& numbers, std::uint64_t from, std::uint64_t to) {
    if (numbers.size() != to - from) return false;
    for (std::size_t i = 0; i < numbers.size(); ++i)
        if (numbers[i] != from + i) return false;
    return true;
}

} // namespace

TEST_CASE("what nobody takes fills a bounded memory, and the rest is left to the recording, in its place") {
    constexpr std::size_t kMax = 100'000;
    InputQueue queue(kMax);
    Chunks chunks;
    for (int i = 0; i < 10'000; ++i) {
        const auto inputs = chunks.next();
        queue.put(inputs, inputs->chunks.front().t_rx_ns);
        if (i % 20 == 0) queue.put(TimePassed{chunks.t_ns()}, chunks.t_ns());
        REQUIRE(queue.backlog(chunks.t_ns()).kept_bytes <= kMax);
    }
    CHECK(queue.backlog(chunks.t_ns()).kept_bytes > kMax / 2);
    CHECK(queue.backlog(chunks.t_ns()).behind_s > 49);
    CHECK(counts_up(take_all(queue), 0, 10'000));
    CHECK(queue.backlog(chunks.t_ns()).kept_bytes == 0);
    queue.put(chunks.next(), chunks.t_ns()); // there is room again
    const Received again = *queue.take();
    CHECK(std::holds_alternative<std::shared_ptr<const Inputs>>(again));
}

TEST_CASE("a request keeps its place behind inputs that are left to the recording") {
    InputQueue queue(0);
    Chunks chunks;
    for (int i = 0; i < 10; ++i) queue.put(chunks.next(), chunks.t_ns());
    queue.put(TimePassed{chunks.t_ns()}, chunks.t_ns());
    queue.put(AskForPast{[](const Past&) {}}, chunks.t_ns());
    for (int i = 0; i < 10; ++i) queue.put(chunks.next(), chunks.t_ns());
    const Received before = *queue.take();
    CHECK(std::get<StoredInputs>(before).count == 10);
    CHECK(std::holds_alternative<TimePassed>(*queue.take()));
    CHECK(std::holds_alternative<AskForPast>(*queue.take()));
    const Received after = *queue.take();
    CHECK(std::get<StoredInputs>(after).first == 10);
    CHECK(std::get<StoredInputs>(after).count == 10);
}

TEST_CASE("the age of what waits is that of the oldest, also while it is read from the recording") {
    InputQueue queue(0);
    Chunks chunks;
    for (std::uint64_t i = 0; i < 2 * InputQueue::kStoredAtOnce; ++i) {
        auto chunk = chunks.next(); // which moves the time on
        queue.put(std::move(chunk), chunks.t_ns());
    }
    const double whole_s = 2 * InputQueue::kStoredAtOnce * 0.005;
    CHECK(queue.backlog(chunks.t_ns()).behind_s == Approx(whole_s - 0.005));
    (void)queue.take();
    queue.reached(kBegin_ns + static_cast<std::int64_t>(whole_s / 2 * 1e9));
    CHECK(queue.backlog(chunks.t_ns()).behind_s == Approx(whole_s / 2));
}

TEST_CASE("an interpreter that stood still for long makes the same of what it reads back, and the recording verifies") {
    const TemporaryFolder folder;
    const auto setup = std::make_shared<const PipelineSetup>(demo_setup());
    Chunks chunks;
    constexpr std::size_t kMax = 50'000;
    constexpr std::uint64_t kChunks = 9000;
    std::mutex mutex;
    std::condition_variable released;
    bool may_go_on = false;
    std::uint64_t frames = 0;
    std::string id;
    {
        Recorder recorder(recorder_settings(folder.path()), *setup);
        InputQueue queue(kMax);
        Interpreter interpreter(
            setup, folder.path(), queue, recorder,
            {.on_tape =
                 [&](const LiveTape&) {
                     std::unique_lock lock(mutex);
                     released.wait(lock, [&] { return may_go_on; });
                 },
             .on_batch = [&](const std::shared_ptr<const Batch>& batch) { frames += batch->frames.size(); }});
        const Schema schema = Pipeline(*setup, 0).schema();
        id = recorder.begin(schema, {kBegin_ns, kBegin_ns, "", ""}, kBegin_ns);
        LiveTape tape;
        tape.id = id;
        tape.t_start_ns = kBegin_ns;
        queue.put(TapeBegins{.tape = tape}, kBegin_ns);
        std::size_t most = 0;
        for (std::uint64_t i = 0; i < kChunks; ++i) {
            const auto inputs = chunks.next();
            recorder.push(inputs);
            queue.put(inputs, chunks.t_ns());
            most = std::max(most, queue.backlog(chunks.t_ns()).kept_bytes);
        }
        CHECK(most <= kMax);
        {
            const std::lock_guard lock(mutex);
            may_go_on = true;
        }
        released.notify_one();
        queue.put(TimePassed{chunks.t_ns() + kNsPerS}, chunks.t_ns() + kNsPerS);
        queue.stop();
        interpreter.join();
        CHECK(recorder.status().dropped == Drops{});
    }
    CHECK(frames == kChunks);
    const auto report = verify_recording(folder.recording(id));
    REQUIRE(report);
    INFO(report->first_difference);
    CHECK(report->differences == 0);
    CHECK(report->chunks == kChunks);
}
