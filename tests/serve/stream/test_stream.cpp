/// The WebSocket over real sockets: order, slow viewers, refusals, shutdown. The client is Beast's.
#include <catch2/catch.hpp>

#include <cstring>
#include <thread>

#include "tests/serve/fixture.hpp"

using namespace turnstone;
using nlohmann::json;
using namespace std::chrono_literals;

namespace {

struct BlockHead {
    std::uint16_t flags;
    std::uint32_t blocks;
    std::uint64_t seq;
    double newest_t_s;
};

BlockHead head_of(const std::string& bytes) {
    BlockHead head{};
    std::memcpy(&head.flags, bytes.data() + 2, 2);
    std::memcpy(&head.blocks, bytes.data() + 4, 4);
    std::memcpy(&head.seq, bytes.data() + 8, 8);
    std::memcpy(&head.newest_t_s, bytes.data() + 16, 8);
    return head;
}

Batch one_row(double t_s, double value) {
    Batch batch;
    add_row(batch, 0, t_s, {value, -value});
    return batch;
}

/// 24 bytes each in a block message.
Batch many_rows(double t_s, int rows = 2000) {
    Batch batch;
    for (int i = 0; i < rows; ++i) add_row(batch, 0, t_s, {i * 1.0, t_s});
    return batch;
}

/// Reads until the server has closed the connection, and says with which code.
std::uint16_t code_at_end(StreamClient& client) {
    for (int messages = 0; messages < 1000 && client.next(2000ms);) ++messages;
    return client.close_code();
}

} // namespace

TEST_CASE("a viewer gets hello, then blocks and events in order") {
    LiveServer live;
    live.publish(one_row(1.0, 5.0));
    StreamClient client(live.port());
    const json hello = client.next()->json();
    CHECK(hello.at("type") == "hello");
    CHECK(hello.at("role") == "viewer");
    CHECK(hello.at("mode") == "live");
    CHECK(hello.at("description").at("recording").at("id") == kTapeId);
    CHECK(hello.at("latest") == json::parse(R"([{"table":0,"t_s":1.0,"values":[5.0,-5.0]}])"));
    CHECK(head_of(client.next()->bytes).seq == 0); // what came just before is not in the file yet

    Batch with_event = one_row(1.5, 6.0);
    with_event.events.push_back(phase_event(1.5));
    live.publish(std::move(with_event));
    live.publish(Batch{});
    live.publish(one_row(2.0, 7.0));
    CHECK(client.next()->json().at("text") == "under thrust");
    const auto first = client.next();
    REQUIRE(first->binary);
    CHECK(head_of(first->bytes).seq == 1);
    CHECK(head_of(first->bytes).newest_t_s == 1.5);
    CHECK(head_of(first->bytes).flags == 0);
    CHECK(head_of(client.next()->bytes).seq == 2); // a flush without rows makes no message

    const json status = client.next_of("status")->json();
    CHECK(status.at("viewers") == 1);
    CHECK(status.at("audience").at("operators") == 0);
    CHECK(status.at("audience").at("answer_s").is_null()); // nobody was asked yet
    CHECK(status.at("t_s") == 12.75);
    CHECK(status.at("links")[0].at("t_last_s") == 12.5);

    LiveTape next = golden_tape();
    next.id = "second";
    live.server->begin_recording(next);
    live.publish(one_row(0.5, 1.0));
    CHECK(client.next_of("hello")->json().at("description").at("recording").at("id") == "second");
    CHECK(head_of(client.next_of("binary")->bytes).seq == 0);
}

TEST_CASE("the operator's cookie shows in hello") {
    const LiveServer live;
    StreamClient client(live.port(), live.operator_cookie());
    CHECK(client.next()->json().at("role") == "operator");
}

TEST_CASE("a viewer that connects before the tape gets its hello with it") {
    const LiveServer live({}, false);
    StreamClient client(live.port());
    CHECK_FALSE(client.next(100ms));
    live.server->begin_recording(golden_tape());
    CHECK(client.next_of("hello"));
}

TEST_CASE("viewers that are not welcome learn why by their close code") {
    LiveServer live([](ServeSettings& settings) { settings.viewers_max = 1; });
    StreamClient evil(live.port(), {{"Origin", "http://evil.example"}});
    CHECK_FALSE(evil.next());
    CHECK(evil.close_code() == 4403);
    StreamClient renamed(live.port(), {{"Host", "evil.example"}});
    CHECK_FALSE(renamed.next());
    CHECK(renamed.close_code() == 4403);

    StreamClient first(live.port());
    REQUIRE(first.next());
    StreamClient second(live.port());
    CHECK_FALSE(second.next());
    CHECK(second.close_code() == 4503);
    live.publish(one_row(1, 1));
    CHECK(first.next_of("binary"));
}

TEST_CASE("texts that are not understood, too long or too many close with 4400") {
    const LiveServer live;
    const auto code_after = [&](const std::string& text, int times) {
        StreamClient client(live.port());
        client.next();
        for (int i = 0; i < times; ++i) client.send(text);
        return code_at_end(client);
    };
    CHECK(code_after("what?", 1) == 4400);
    CHECK(code_after(R"({"type":"launch"})", 1) == 4400);
    CHECK(code_after(R"({"type":"live","pad":")" + std::string(5000, 'x') + "\"}", 1) == 4400);
    CHECK(code_after(R"({"type":"pause"})", 80) == 4400);

    StreamClient client(live.port());
    client.next();
    client.send(R"({"type":"seek","t_s":"soon","request":8})");
    CHECK(client.next_of("error")->json() == json::parse(golden_text("error.json")));
    client.send(R"({"type":"pause","request":9})");
    CHECK(client.next_of("error")->json().at("request") == 9); // nothing is open; the connection stays
    client.send(R"({"type":"live"})");
    CHECK(client.next_of("hello"));
}

TEST_CASE("a viewer that asks what time it is on the tape is told at once, as often as it asks") {
    const LiveServer live;
    StreamClient client(live.port());
    for (int request = 1; request <= 4; ++request) {
        client.send(R"({"type":"time","request":)" + std::to_string(request) + "}");
        const auto answer = client.next_of("time");
        REQUIRE(answer);
        CHECK(answer->json().at("request") == request);
        CHECK(answer->json().at("t_s") == 12.75); // the fixture's clock stands
    }
}

TEST_CASE("a slow viewer gets a gap and newest values, keeps its events, and others notice nothing") {
    LiveServer live([](ServeSettings& settings) {
        settings.send_buffer_bytes = 16 << 10;
        settings.queue.soft_time = 30s;
    });
    StreamClient fast(live.port());
    StreamClient slow(live.port(), {}, 16 << 10);
    REQUIRE(fast.next());
    REQUIRE(slow.next());

    constexpr int kTicks = 200; // 48 kB each: far more than buffers and the soft limit hold
    for (int i = 0; i < kTicks; ++i) {
        Batch batch = many_rows(i * 0.01);
        if (i % 10 == 0) batch.events.push_back(note_event(i * 0.01, "event " + std::to_string(i)));
        live.publish(std::move(batch));
        const auto block = fast.next_of("binary");
        REQUIRE(block);
        CHECK(head_of(block->bytes).seq == static_cast<std::uint64_t>(i));
        CHECK((head_of(block->bytes).flags & 2) == 0);
    }
    const json status = fast.next_of("status")->json();
    CHECK(status.at("viewers") == 2);
    CHECK(status.at("audience").at("left_out") > 0);
    CHECK(status.at("audience").at("behind") == 1);
    // Now the slow one reads: what was on its way, then a gap, then the newest values with the gap's last number.
    std::uint64_t expected = 0;
    std::size_t events = 0;
    std::size_t gaps = 0;
    while (expected < kTicks) {
        const auto message = slow.next();
        REQUIRE(message);
        const std::string type = message->type();
        if (type == "event") {
            ++events;
        } else if (type == "gap") {
            const json gap = message->json();
            CHECK(gap.at("from_seq") == expected);
            const auto last = gap.at("to_seq").get<std::uint64_t>();
            const auto coalesced = slow.next_of("binary");
            REQUIRE(coalesced);
            CHECK(head_of(coalesced->bytes).flags == 2);
            CHECK(head_of(coalesced->bytes).seq == last);
            CHECK(gap.at("to_t_s").get<double>() == head_of(coalesced->bytes).newest_t_s);
            expected = last + 1;
            ++gaps;
        } else if (type == "binary") {
            CHECK(head_of(message->bytes).seq == expected);
            ++expected;
        }
    }
    CHECK(gaps >= 1);
    CHECK(events == kTicks / 10);
    live.publish(one_row(100, 1)); // and the stream continues
    CHECK(head_of(slow.next_of("binary")->bytes).seq == kTicks);
    CHECK(head_of(fast.next_of("binary")->bytes).seq == kTicks);
}

TEST_CASE("a viewer that stays behind is closed with 4408, others continue") {
    LiveServer live([](ServeSettings& settings) {
        settings.send_buffer_bytes = 16 << 10;
        settings.queue.soft_time = 300ms;
    });
    StreamClient fast(live.port());
    StreamClient stuck(live.port(), {}, 16 << 10);
    REQUIRE(fast.next());
    REQUIRE(stuck.next());
    for (int i = 0; i < 10; ++i) { // the first alone is more than the kernel keeps for a client that does not read
        live.publish(many_rows(i * 0.01, 10'000));
        REQUIRE(fast.next_of("binary"));
    }
    std::this_thread::sleep_for(900ms);
    CHECK(code_at_end(stuck) == 4408);
    live.publish(one_row(2, 1));
    CHECK(fast.next_of("binary"));
    CHECK(live.get("/api/counters").body.find("turnstone_viewers_closed_slow_total 1\n") != std::string::npos);
}

TEST_CASE("a viewer whose events alone pass the hard limit is closed with 4408") {
    LiveServer live([](ServeSettings& settings) {
        settings.send_buffer_bytes = 16 << 10;
        settings.queue.hard_bytes = 512 << 10;
    });
    StreamClient stuck(live.port(), {}, 16 << 10);
    REQUIRE(stuck.next());
    for (int i = 0; i < 100; ++i) {
        Batch batch;
        batch.events.push_back(note_event(i, std::string(30'000, 'x')));
        live.publish(std::move(batch));
    }
    std::this_thread::sleep_for(100ms);
    CHECK(code_at_end(stuck) == 4408);
}

TEST_CASE("shutdown closes viewers with 1001 and waits no longer than it has to") {
    LiveServer live;
    StreamClient client(live.port());
    REQUIRE(client.next());
    std::thread stopping([&] { live.server->stop(1h); }); // the viewer hangs up long before
    CHECK(code_at_end(client) == 1001);
    stopping.join();

    LiveServer deaf;
    StreamClient silent(deaf.port());
    REQUIRE(silent.next());
    deaf.server->stop(300ms); // the client never answers the close frame: waiting for it would never end
    CHECK(code_at_end(silent) == 1001);
}
