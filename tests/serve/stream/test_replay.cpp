/// A stored tape through the stream: open, seek, play, step. The tape is fixture.hpp's record_flight.
#include <catch2/catch.hpp>

#include <cmath>
#include <cstring>

#include "tests/serve/fixture.hpp"

using namespace turnstone;
using nlohmann::json;
using namespace std::chrono_literals;

namespace {

/// Times of the rows of `table` in a block message, checked for the replay flag and consistent lengths.
std::vector<double> times_of(const std::string& bytes, std::uint16_t table, std::uint64_t expected_seq) {
    std::vector<double> out;
    std::uint16_t flags = 0;
    std::uint32_t blocks = 0;
    std::uint64_t seq = 0;
    std::memcpy(&flags, bytes.data() + 2, 2);
    std::memcpy(&blocks, bytes.data() + 4, 4);
    std::memcpy(&seq, bytes.data() + 8, 8);
    CHECK(flags == 1);
    CHECK(seq == expected_seq);
    std::size_t at = 24;
    for (std::uint32_t i = 0; i < blocks; ++i) {
        std::uint16_t id = 0;
        std::uint16_t columns = 0;
        std::uint32_t rows = 0;
        std::memcpy(&id, bytes.data() + at, 2);
        std::memcpy(&columns, bytes.data() + at + 2, 2);
        std::memcpy(&rows, bytes.data() + at + 4, 4);
        for (std::uint32_t row = 0; row < rows && id == table; ++row) {
            double t_s = 0;
            std::memcpy(&t_s, bytes.data() + at + 8 + 8 * row, 8);
            out.push_back(t_s);
        }
        at += 8 + 8 * std::size_t{rows} * (1 + columns);
    }
    CHECK(at == bytes.size());
    return out;
}

json ask(StreamClient& client, const json& request) {
    client.send(request.dump());
    return client.next_of("replay")->json();
}

} // namespace

TEST_CASE("a recording is opened, searched, stepped and played") {
    LiveServer live;
    const test::TemporaryFolder other; // its id equals the live tape's, so it stands beside it under another name
    const std::string id = record_flight(other.path());
    std::filesystem::path file;
    for (const auto& entry : std::filesystem::directory_iterator(other.path())) file = entry.path();
    const std::string ending = file.filename().string().substr(id.size());
    std::filesystem::copy(file, live.folder.path() / ("2026-05-16T080000Z-sanderling" + ending));

    StreamClient client(live.port());
    client.next_of("hello");
    client.send(json{{"type", "open"}, {"recording", "2026-05-16T080000Z-sanderling"}, {"request", 1}}.dump());
    const json hello = client.next_of("hello")->json();
    CHECK(hello.at("mode") == "replay");
    CHECK(hello.at("description").at("recording").at("t_end_s") == 10.0);
    const json opened = client.next_of("replay")->json();
    CHECK(opened.at("request") == 1);
    CHECK(opened.at("cursor_s") == 0.0);
    CHECK(opened.at("playing") == false);
    CHECK(opened.at("t_end_s") == 10.0);

    SECTION("seek gives the values at the cursor and stays within the tape") {
        const json at = ask(client, {{"type", "seek"}, {"t_s", 5.002}, {"request", 2}});
        CHECK(at.at("cursor_s") == 5.002);
        CHECK(at.at("latest")[0] == json{{"table", 0}, {"t_s", 5.0}, {"values", {5.0, 1.0}}});
        CHECK(ask(client, {{"type", "seek"}, {"t_s", -4}}).at("cursor_s") == 0.0);
        CHECK(ask(client, {{"type", "seek"}, {"t_s", 400}}).at("cursor_s") == 10.0);
    }
    SECTION("steps go to the next and the previous row") {
        ask(client, {{"type", "seek"}, {"t_s", 5.002}});
        CHECK(ask(client, {{"type", "step"}, {"rows", 1}}).at("cursor_s") == 5.005);
        CHECK(ask(client, {{"type", "step"}, {"rows", 1}}).at("cursor_s") == 5.01);
        CHECK(ask(client, {{"type", "step"}, {"rows", -1}}).at("cursor_s") == 5.005);
        const json back = ask(client, {{"type", "step"}, {"rows", -1}});
        CHECK(back.at("cursor_s") == 5.0);
        CHECK(back.at("latest")[0].at("t_s") == 5.0);
        ask(client, {{"type", "seek"}, {"t_s", 0}});
        CHECK(ask(client, {{"type", "step"}, {"rows", -1}}).at("cursor_s") == 0.0);
        ask(client, {{"type", "seek"}, {"t_s", 10}});
        CHECK(ask(client, {{"type", "step"}, {"rows", 1}}).at("cursor_s") == 10.0);
    }
    SECTION("steps by packet pass over the rows of estimates") {
        // Table 2 is an estimate's, every 0.1 s; the packets' rows stand every 5 ms beside it.
        ask(client, {{"type", "seek"}, {"t_s", 5.002}});
        CHECK(ask(client, {{"type", "step"}, {"packets", 1}}).at("cursor_s") == 5.005);
        CHECK(ask(client, {{"type", "step"}, {"packets", -1}}).at("cursor_s") == 5.0);
    }
    SECTION("play brings every row once, in order, with the events, and stops at the end") {
        ask(client, {{"type", "seek"}, {"t_s", 2.0}});
        CHECK(ask(client, {{"type", "play"}, {"rate", 20}}).at("playing") == true);
        std::vector<double> times;
        std::uint64_t seq = 0;
        std::size_t events = 0;
        bool playing = true;
        while (playing) {
            const auto message = client.next();
            REQUIRE(message);
            const std::string type = message->type();
            if (type == "binary") {
                const auto more = times_of(message->bytes, 0, seq++);
                times.insert(times.end(), more.begin(), more.end());
            } else if (type == "event") {
                ++events;
                CHECK(message->json().at("t_s") == 3.25);
            } else if (type == "replay") {
                playing = message->json().at("playing").get<bool>();
            }
        }
        REQUIRE(times.size() == 1600); // (2, 10] s at 200 Hz: the row at the cursor was shown by the seek
        for (std::size_t i = 0; i < times.size(); ++i)
            CHECK(std::abs(times[i] - (2.005 + 0.005 * static_cast<double>(i))) < 1e-9);
        CHECK(events == 1);
    }
    SECTION("a tenth and a hundred times as fast") {
        // A position is told every second tick. A tick is of at least 50 ms, of which half is asked for here, and of a
        // stall no more than 250 ms count: so far has the cursor to go, whatever a clock says.
        const double rate = GENERATE(0.1, 100.0);
        const double least_s = 2 * 0.025 * rate, most_s = 2 * 0.25 * rate;
        ask(client, {{"type", "seek"}, {"t_s", 1.0}});
        REQUIRE(ask(client, {{"type", "play"}, {"rate", rate}}).at("rate") == rate);
        double cursor_s = 1;
        std::vector<double> times;
        std::uint64_t seq = 0;
        int positions = 0;
        for (bool playing = true; playing && positions < 3;) {
            const auto message = client.next();
            REQUIRE(message);
            if (message->type() == "binary") {
                const auto more = times_of(message->bytes, 0, seq++);
                times.insert(times.end(), more.begin(), more.end());
            }
            if (message->type() != "replay") continue;
            const json told = message->json();
            playing = told.at("playing").get<bool>();
            const double by_s = told.at("cursor_s").get<double>() - cursor_s;
            cursor_s += by_s;
            CHECK(by_s <= most_s);
            CHECK((by_s >= least_s || !playing));
            ++positions;
        }
        // Rows stand every 5 ms: so many lie between, each once.
        REQUIRE(times.size() == static_cast<std::size_t>(std::floor((cursor_s - 1) / 0.005 + 1e-6)));
        for (std::size_t i = 0; i < times.size(); ++i)
            CHECK(std::abs(times[i] - (1.005 + 0.005 * static_cast<double>(i))) < 1e-9);
        CHECK((rate > 1) == (cursor_s >= 6));
    }
    SECTION("pause holds the cursor, live goes back to live") {
        ask(client, {{"type", "play"}, {"rate", 1}});
        client.next_of("binary");
        client.send(R"({"type":"pause","request":5})");
        json paused;
        do paused = client.next_of("replay")->json();
        while (!paused.contains("request"));
        CHECK(paused.at("playing") == false);
        CHECK_FALSE(client.next_of("binary", 200ms));

        Batch batch; // a live viewer's blocks do not come into a replay
        add_row(batch, 0, 1.0, {1.0, 1.0});
        live.publish(batch);
        CHECK_FALSE(client.next_of("binary", 200ms));
        client.send(R"({"type":"live"})");
        CHECK(client.next_of("hello")->json().at("mode") == "live");
        live.publish(std::move(batch));
        CHECK(client.next_of("binary"));
    }
}

TEST_CASE("what cannot be replayed is answered with an error") {
    const LiveServer live;
    StreamClient client(live.port());
    client.next_of("hello");
    client.send(R"({"type":"open","recording":"2020-01-01T000000Z-nobody","request":1})");
    CHECK(client.next_of("error")->json().at("request") == 1);
    client.send(R"({"type":"open","recording":"../../etc/passwd","request":2})");
    CHECK(client.next_of("error")->json().at("request") == 2);
    client.send(R"({"type":"seek","t_s":1,"request":3})");
    CHECK(client.next_of("error")->json().at("message") == "no recording is open; send 'open' with a recording's id");
}
