/// What a slow viewer gets, without a socket: the bytes that leave an outbox.
#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <span>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/serve/stream/outbox.hpp"

using namespace turnstone;

namespace {

WireMessage message(std::string text) {
    return std::make_shared<const std::string>(std::move(text));
}

void block(Outbox& outbox, WireMessage wire, std::uint64_t seq, double from_t_s, double to_t_s) {
    const LiveMessage one = BlockMessage{.wire = std::move(wire), .seq = seq, .from_t_s = from_t_s, .to_t_s = to_t_s};
    outbox.live(std::span(&one, 1));
}

/// What leaves when the kernel takes up to `bytes`.
std::string taken(Outbox& outbox, std::size_t bytes = 1'000'000) {
    std::string out;
    while (!outbox.empty() && out.size() < bytes) {
        std::array<iovec, 2> buffer{};
        std::string offered;
        for (const iovec& part : outbox.next(buffer)) offered.append(static_cast<char*>(part.iov_base), part.iov_len);
        offered.resize(std::min(offered.size(), bytes - out.size()));
        outbox.sent(offered.size());
        out += offered;
    }
    return out;
}

} // namespace

TEST_CASE("messages leave in order, whatever the kernel takes at once") {
    const QueueLimits limits;
    ServeCounters counters;
    Outbox outbox(limits, counters);
    outbox.keep(message("hello "));
    block(outbox, message("block "), 0, 0, 1);
    outbox.status(message("status "));
    outbox.keep(message("event"));
    CHECK(outbox.bytes() == 24);
    std::string out;
    while (!outbox.empty()) out += taken(outbox, 5);
    CHECK(out == "hello block status event");
    CHECK(outbox.bytes() == 0);
    CHECK(counters.messages_sent == 4);
    CHECK(counters.bytes_sent == 24);
}

TEST_CASE("only the newest status waits, and none that is partly out is changed") {
    const QueueLimits limits;
    ServeCounters counters;
    Outbox outbox(limits, counters);
    outbox.status(message("first "));
    outbox.status(message("second "));
    CHECK(taken(outbox, 3) == "sec");
    outbox.status(message("third "));
    outbox.status(message("fourth"));
    CHECK(taken(outbox) == "ond fourth");
}

TEST_CASE("above the soft limit blocks become one gap, other messages stay") {
    const QueueLimits limits{.soft_bytes = 30, .hard_bytes = 1000};
    ServeCounters counters;
    Outbox outbox(limits, counters);
    block(outbox, message("block-10--"), 10, 1.0, 1.5);
    CHECK(taken(outbox, 4) == "bloc");
    block(outbox, message("block-11--"), 11, 1.5, 2.0);
    outbox.keep(message("event "));
    CHECK_FALSE(outbox.behind());
    block(outbox, message("block-12--"), 12, 1.25, 2.5); // the 31st byte
    CHECK(outbox.behind());
    block(outbox, message("block-13--"), 13, 2.5, 3.0);
    CHECK(taken(outbox) == "k-10--event "); // what was partly out is finished
    outbox.catch_up(message("newest"));
    CHECK_FALSE(outbox.behind());
    const std::string made_up = taken(outbox).substr(2); // behind the header of the frame
    CHECK(nlohmann::json::parse(made_up.substr(0, made_up.size() - 6)) ==
          nlohmann::json::parse(R"({"type":"gap","from_seq":11,"to_seq":13,"from_t_s":1.25,"to_t_s":3.0})"));
    CHECK(made_up.ends_with("newest"));
    CHECK(counters.fell_behind == 1);
    CHECK(counters.blocks_left_out == 3);
    CHECK(counters.coalesced == 1);
    block(outbox, message("block-14--"), 14, 3.0, 3.5);
    CHECK(taken(outbox) == "block-14--");
}

TEST_CASE("one message larger than the soft limit still goes to a viewer that keeps up") {
    const QueueLimits limits{.soft_bytes = 5, .hard_bytes = 1000};
    ServeCounters counters;
    Outbox outbox(limits, counters);
    block(outbox, message("a large block"), 0, 0, 1);
    CHECK(taken(outbox) == "a large block");
    CHECK(counters.fell_behind == 0);
}

TEST_CASE("a gap of every viewer's joins the viewer's own") {
    const QueueLimits limits{.soft_bytes = 5, .hard_bytes = 1000};
    ServeCounters counters;
    Outbox outbox(limits, counters);
    outbox.gap({.from_seq = 3, .to_seq = 4, .from_t_s = 0, .to_t_s = 1});
    CHECK_FALSE(outbox.behind());
    CHECK(taken(outbox).find(R"("from_seq":3)") != std::string::npos);
    outbox.keep(message("event "));
    block(outbox, message("block"), 5, 1, 2);
    outbox.gap({.from_seq = 6, .to_seq = 9, .from_t_s = 2, .to_t_s = 3});
    CHECK(taken(outbox) == "event ");
    outbox.catch_up(message("newest"));
    CHECK(taken(outbox).find(R"("to_seq":9)") != std::string::npos);
}

TEST_CASE("limits are noticed, and a message on its way counts for none of them") {
    const QueueLimits limits{.soft_bytes = 5, .hard_bytes = 20, .soft_time = std::chrono::milliseconds(0)};
    ServeCounters counters;
    Outbox outbox(limits, counters);
    outbox.keep(message("an event of more than 20 bytes"));
    outbox.keep(message("event of 20 bytes..."));
    CHECK_FALSE(outbox.above_hard_limit());
    CHECK_FALSE(outbox.behind_too_long(Outbox::Clock::now()));
    block(outbox, message("block"), 0, 0, 1);
    CHECK(outbox.behind_too_long(Outbox::Clock::now() + std::chrono::seconds(1)));
    outbox.keep(message("!"));
    CHECK(outbox.above_hard_limit());
}

TEST_CASE("hello and the blocks after it are in nobody's way") {
    const QueueLimits limits{.soft_bytes = 12, .hard_bytes = 20};
    ServeCounters counters;
    Outbox outbox(limits, counters);
    for (const char* opening : {"hello of many bytes ", "recent block of many bytes "})
        outbox.open_with(message(opening));
    block(outbox, message("block-1 "), 1, 0, 1);
    CHECK(taken(outbox, 25) == "hello of many bytes recen");
    CHECK_FALSE(outbox.behind());
    CHECK_FALSE(outbox.above_hard_limit());
    block(outbox, message("block-2 "), 2, 1, 2);
    CHECK(outbox.behind()); // 16 bytes beside them
    outbox.keep(message("event of many more bytes "));
    CHECK(outbox.above_hard_limit());
    CHECK(taken(outbox) == "t block of many bytes event of many more bytes ");
    CHECK_FALSE(outbox.above_hard_limit());
}

TEST_CASE("a tick of several messages goes whole to a viewer that has read everything") {
    const QueueLimits limits{.soft_bytes = 10, .hard_bytes = 40};
    ServeCounters counters;
    Outbox outbox(limits, counters);
    std::vector<LiveMessage> tick;
    for (std::uint64_t i = 0; i < 2; ++i)
        tick.emplace_back(BlockMessage{.wire = message("block-" + std::to_string(i) + " "), .seq = i});
    tick.emplace_back(message("event "));
    outbox.live(tick);
    CHECK_FALSE(outbox.behind());
    outbox.live(tick); // while the first is still there
    CHECK(outbox.behind());
    CHECK(taken(outbox) == "event event ");
    outbox.catch_up(message("newest"));
    CHECK(taken(outbox).find(R"("from_seq":0)") != std::string::npos);
    for (std::uint64_t i = 2; i < 12; ++i)
        tick.insert(tick.end() - 1, BlockMessage{.wire = message("block-x "), .seq = i});
    outbox.live(tick); // more than half the hard limit at once is too much for anybody
    CHECK(outbox.behind());
    CHECK_FALSE(outbox.above_hard_limit());
}

TEST_CASE("the last message goes out behind what has to be finished or kept") {
    struct Case {
        bool all;
        const char* out;
    };
    for (const Case& c : {Case{false, "first event last"}, Case{true, "first last"}}) {
        const QueueLimits limits;
        ServeCounters counters;
        Outbox outbox(limits, counters);
        block(outbox, message("first "), 0, 0, 1);
        std::string out = taken(outbox, 2);
        outbox.keep(message("event "));
        block(outbox, message("block "), 1, 1, 2);
        outbox.status(message("status "));
        outbox.end_with(message("last"), c.all);
        out += taken(outbox);
        CHECK(out == c.out);
        CHECK_FALSE(outbox.behind());
    }
}
