// The pipeline is a pure function of its recorded inputs: replay, reprocessing and the tape rest on it.
#include <catch2/catch.hpp>

#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr std::int64_t kBegin_ns = kStart_ns + 12'345'678; // on no whole millisecond
constexpr std::int64_t kEnd_ns = kBegin_ns + 45 * kNsPerS;

struct Input {
    std::int64_t t_ns;
    LinkId link;
    Bytes bytes;
    std::optional<Action> action; ///< not empty: an action instead of bytes
};

PipelineSetup setup_of_two() {
    return make_setup(2, {{"radio", "test:", 0}, {"relay", "test:", 0}, {"boat", "test:", 1}, {"far", "test:", 0}});
}

/// A busy session: two vehicles, four links, impairments, frames that are combined of three damaged copies, a reboot,
/// operator actions, garbage.
std::vector<Input> session(std::uint64_t seed) {
    std::vector<Sent> alpha, beta;
    send(alpha, kBegin_ns, 20 * kNsPerS, 80'000, 16000);
    send(alpha, kBegin_ns + 22 * kNsPerS, 20 * kNsPerS, 400, 0);
    send(beta, kBegin_ns, 40 * kNsPerS, 0xFFFFFFFFu - 5'000, 3);
    std::vector<Input> inputs;
    for (Delivery& delivery : in_order({transmit(alpha, 0, {0.1, 0.05, 0.05, 0.3}, seed),
                                        transmit(alpha, 1, {0.3, 0, 0, 0.5, 90 * kNsPerMs}, seed + 1),
                                        transmit(beta, 2, {0.05, 0, 0.1, 0.02}, seed + 2),
                                        transmit(alpha, 3, {0.1, 0, 0, 0.5, 30 * kNsPerMs}, seed + 4)}))
        inputs.push_back({delivery.t_ns, delivery.link, std::move(delivery.bytes), {}});
    const auto act = [&](double at_s, Action action) {
        inputs.push_back({kBegin_ns + seconds_to_ns(at_s), 0, {}, std::move(action)});
    };
    act(1.0, LinkReport{"radio", LinkState::open, ""});
    act(5.5, Marker{"ignition"});
    act(6.0, NameFlight{"beta", "Second hop"});
    act(7.5, ChangeMark{"marker/1", "ignition seen"});
    act(9.0, LinkReport{"relay", LinkState::lost, "unplugged"});
    act(11.0, LinkReport{"relay", LinkState::open, ""});
    act(12.0, Note{"not UTF-8 \xff"});
    act(12.5, ChangeMark{"note/2"});
    std::mt19937_64 random(seed + 3);
    Bytes garbage(5000);
    for (std::byte& byte : garbage) byte = static_cast<std::byte>(random());
    inputs.push_back({kBegin_ns + 15 * kNsPerS, 1, garbage, {}});
    std::stable_sort(inputs.begin(), inputs.end(), [](const Input& a, const Input& b) { return a.t_ns < b.t_ns; });
    return inputs;
}

void feed(Pipeline& pipeline, const Input& input, Batch& out) {
    if (!input.action)
        pipeline.chunk(input.link, input.t_ns, input.t_ns + 250, input.bytes, out);
    else
        pipeline.action(input.t_ns, *input.action, out);
}

/// As reception records it.
void count(InputCounter& counter, const Input& input, Inputs& out) {
    if (!input.action)
        counter.chunk(input.link, input.t_ns, input.t_ns + 250, input.bytes, out);
    else
        counter.action(input.t_ns, *input.action, out);
}

} // namespace

TEST_CASE("recorded inputs fed back give the same batch, bit for bit") {
    for (const std::uint64_t seed : {10u, 20u, 30u}) {
        const PipelineSetup setup = setup_of_two();
        Batch live;
        Inputs recorded;
        InputCounter counter(setup.links.size(), kBegin_ns);
        Pipeline first(setup, kBegin_ns);
        std::mt19937_64 random(seed);
        for (const Input& input : session(seed)) {
            // The live server's timer is irregular, and a late reading of the clock may even step back.
            if (random() % 3 == 0) first.advance(input.t_ns - static_cast<std::int64_t>(random() % 50'000'000), live);
            count(counter, input, recorded);
            feed(first, input, live);
        }
        first.advance(kEnd_ns, live);

        Batch replayed;
        Pipeline second(setup, kBegin_ns);
        second.take(recorded, replayed);
        CHECK(second.progress().inputs == recorded.count());
        second.advance(kEnd_ns, replayed);
        CHECK(second.progress() == first.progress());
        CHECK(live == replayed);
        CHECK(live.frames.size() > 3000);
        CHECK(std::ranges::count(live.frames, FrameVerdict::combined, &FrameRecord::frame_verdict) > 100);
        CHECK(live.events.size() >= 7);
        // The comparison can fail: one number that differs in its last bit is seen.
        replayed.numbers.front() = std::nextafter(replayed.numbers.front(), 1e300);
        CHECK_FALSE(live == replayed);
    }
}

TEST_CASE("chunks split at the same receive time change nothing") {
    const PipelineSetup setup = setup_of_two();
    const std::vector<Input> inputs = session(7);
    Batch whole, split;
    Pipeline first(setup, kBegin_ns), second(setup, kBegin_ns);
    std::mt19937_64 random(99);
    for (const Input& input : inputs) {
        feed(first, input, whole);
        if (input.action) {
            feed(second, input, split);
            continue;
        }
        for (std::size_t at = 0; at < input.bytes.size();) {
            const std::size_t size = std::min<std::size_t>(1 + random() % 9, input.bytes.size() - at);
            second.chunk(input.link, input.t_ns, input.t_ns + 250, std::span(input.bytes).subspan(at, size), split);
            at += size;
        }
    }
    CHECK(second.progress().inputs > 3 * first.progress().inputs);
    CHECK(whole == split);
}

TEST_CASE("when and how often time is advanced changes nothing") {
    const PipelineSetup setup = setup_of_two();
    const std::vector<Input> inputs = session(8);
    Batch plain;
    Pipeline first(setup, kBegin_ns);
    for (const Input& input : inputs) feed(first, input, plain);
    first.advance(kEnd_ns, plain);
    for (const std::uint64_t seed : {1u, 2u, 3u}) {
        std::mt19937_64 random(seed);
        Batch advanced;
        Pipeline second(setup, kBegin_ns);
        for (std::size_t k = 0; k < inputs.size(); ++k) {
            feed(second, inputs[k], advanced);
            const std::int64_t room_ns = (k + 1 < inputs.size() ? inputs[k + 1].t_ns : kEnd_ns) - inputs[k].t_ns;
            for (unsigned n = 0; n < random() % 4; ++n)
                second.advance(inputs[k].t_ns +
                                   static_cast<std::int64_t>(random() % static_cast<std::uint64_t>(room_ns + 1)),
                               advanced);
        }
        second.advance(kEnd_ns, advanced);
        CHECK(plain == advanced);
    }
}

TEST_CASE("ticks stand at whole multiples of 100 ms, from the start and before the input at their time") {
    const PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}});
    const std::int64_t multiple_ns = 1'780'000'000 * kNsPerS;
    for (const std::int64_t start_ns : {multiple_ns, multiple_ns + 1, multiple_ns + kTickNs - 1}) {
        Pipeline pipeline(setup, start_ns);
        Batch out;
        pipeline.chunk(0, start_ns, start_ns, frame(100, 1, 1000, user_data(Kind::step, 1)), out);
        pipeline.chunk(0, multiple_ns + 3 * kTickNs, multiple_ns, Bytes{std::byte{1}}, out);
        std::vector<std::int64_t> seconds, ticks; // of the link; of the clock, which has rows once there is a packet
        for (const RowRecord& row : out.rows) {
            const Table& table = pipeline.schema().tables[row.table];
            if (table.name == "alpha/estimate/clock") ticks.push_back(row.t_ns);
            if (table.name != "link/radio") continue;
            seconds.push_back(row.t_ns);
            CHECK(out.numbers_of(row, table)[0] == 0); // the packet came after it
        }
        CHECK(seconds == (start_ns == multiple_ns ? std::vector{multiple_ns} : std::vector<std::int64_t>{}));
        std::vector<std::int64_t> expected;
        for (std::int64_t t_ns = multiple_ns; t_ns <= multiple_ns + 3 * kTickNs; t_ns += kTickNs)
            if (t_ns > start_ns) expected.push_back(t_ns);
        CHECK(ticks == expected);
    }
}

TEST_CASE("inputs are numbered in order, with their place in the stream and times that do not go back") {
    InputCounter counter(2, kBegin_ns);
    Inputs inputs;
    counter.chunk(0, kBegin_ns + 10, 1, Bytes(3), inputs);
    counter.action(kBegin_ns + 20, Note{"a"}, inputs);
    counter.chunk(1, kBegin_ns + 15, 2, Bytes(5), inputs, true);
    counter.chunk(0, kBegin_ns + 30, 3, Bytes(4), inputs);
    REQUIRE(inputs.chunks.size() == 3);
    CHECK(inputs.chunks[1] == ChunkRecord{2, 1, kBegin_ns + 20, 2, 0, true, {3, 5}});
    CHECK(inputs.chunks[2] == ChunkRecord{3, 0, kBegin_ns + 30, 3, 3, false, {8, 4}});
    std::vector<std::uint64_t> seen;
    for_each_input(
        inputs, [&](const ChunkRecord& chunk, std::span<const std::byte>) { seen.push_back(chunk.input); },
        [&](const ActionRecord& action) { seen.push_back(action.input); });
    CHECK(seen == std::vector<std::uint64_t>{0, 1, 2, 3});
    InputCounter later({7, 5}, kBegin_ns + 30, 4);
    Inputs more;
    later.chunk(0, kBegin_ns, 4, Bytes(1), more);
    CHECK(more.chunks[0] == ChunkRecord{4, 0, kBegin_ns + 30, 4, 7, false, {0, 1}});
}
