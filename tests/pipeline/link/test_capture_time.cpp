// A capture read at full speed against the same bytes as they came: the same packets, losses and restarts.
#include <catch2/catch.hpp>

#include "server/pipeline/link/capture_time.hpp"
#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

Bytes capture_of(const Transmission& channel) {
    Bytes out;
    for (const Delivery& delivery : channel.deliveries)
        out.insert(out.end(), delivery.bytes.begin(), delivery.bytes.end());
    return out;
}

struct Piece {
    std::int64_t t_ns;
    std::size_t bytes;
};

struct Read {
    std::vector<Piece> pieces;
    Bytes bytes;
    Batch out;
    std::size_t held = 0; ///< bytes not handed on before the end
};

/// All of it within a millisecond of station time, in blocks as a file is read.
Read read(Pipeline& pipeline, const Dictionary& dictionary, const Bytes& capture, std::size_t block = 16384) {
    Read seen;
    CaptureTime time(CobsFraming{}, dictionary);
    const auto on_piece = [&](std::int64_t t_ns, std::span<const std::byte> bytes) {
        seen.pieces.push_back({t_ns, bytes.size()});
        seen.bytes.insert(seen.bytes.end(), bytes.begin(), bytes.end());
        pipeline.chunk(0, t_ns, t_ns, bytes, seen.out);
    };
    for (std::size_t at = 0; at < capture.size(); at += block)
        time.read(kStart_ns + static_cast<std::int64_t>(at),
                  std::span(capture).subspan(at, std::min(block, capture.size() - at)), on_piece);
    seen.held = capture.size() - seen.bytes.size();
    time.end(on_piece);
    return seen;
}

std::size_t count_events(const Batch& batch, EventId id) {
    return static_cast<std::size_t>(std::count_if(
        batch.events.begin(), batch.events.end(), [id](const Event& event) { return event.id == id; }));
}

constexpr const char* kPacketKinds[] = {"step", "burst", "seldom"};

} // namespace

TEST_CASE("a capture at full speed has the losses and restarts that it had live") {
    for (unsigned seed = 1; seed <= 10; ++seed) {
        INFO("seed " << seed);
        const PipelineSetup setup = make_setup(1, {{"radio", "file:flight.bin", 0}});
        std::vector<Sent> sent;
        send(sent, kStart_ns, 90 * kNsPerS, 70'000, 16384 - 500);
        send(sent, kStart_ns + 91 * kNsPerS + 350 * kNsPerMs, 60 * kNsPerS, 350, 0); // restarted
        Transmission channel = transmit(sent, 0, {.loss = 0.1, .duplicate = 0.02, .bit_error = 0.03}, seed);
        // Fades of two, eight and thirty seconds.
        std::erase_if(channel.deliveries, [](const Delivery& delivery) {
            const double t_s = seconds_between(kStart_ns, delivery.t_ns);
            return (t_s > 20 && t_s < 22) || (t_s > 40 && t_s < 48) || (t_s > 110 && t_s < 140);
        });
        Pipeline live(setup, kStart_ns);
        Batch live_out;
        for (const Delivery& delivery : channel.deliveries)
            live.chunk(0, delivery.t_ns, delivery.t_ns, delivery.bytes, live_out);
        live.advance(kStart_ns + 160 * kNsPerS, live_out);

        const Bytes capture = capture_of(channel);
        Pipeline pipeline(setup, kStart_ns);
        Read seen = read(pipeline, setup.vehicles[0].dictionary, capture);
        CHECK(seen.bytes == capture);
        pipeline.advance(kStart_ns + 160 * kNsPerS, seen.out);
        for (const char* column : {"received", "lost", "duplicates", "sequence_resets", "frames_good", "frames_bad"}) {
            INFO(column);
            CHECK(newest(seen.out, pipeline.schema(), "link/radio", column) ==
                  newest(live_out, live.schema(), "link/radio", column));
        }
        for (const char* kind : kPacketKinds)
            CHECK(newest(seen.out, pipeline.schema(), std::string("link/radio.") + kind, "lost") ==
                  newest(live_out, live.schema(), std::string("link/radio.") + kind, "lost"));
        CHECK(count_events(seen.out, EventId::reboot) == 1);
        CHECK(count_events(seen.out, EventId::clock_jump) == 0);
        // The tape is as long as the flight.
        CHECK(seconds_between(kStart_ns, seen.pieces.back().t_ns) == Approx(150).margin(1.0));
        CHECK(std::is_sorted(seen.pieces.begin(), seen.pieces.end(),
                             [](const Piece& a, const Piece& b) { return a.t_ns < b.t_ns; }));
    }
}

TEST_CASE("the pieces of a capture do not depend on how it is read, and one damaged time moves nothing") {
    const PipelineSetup setup = make_setup(1, {{"radio", "file:flight.bin", 0}});
    std::vector<Sent> sent;
    send(sent, kStart_ns, 30 * kNsPerS, 5'000, 0);
    Bytes capture;
    for (std::size_t k = 0; k < sent.size(); ++k) {
        capture.insert(capture.end(), sent[k].bytes.begin(), sent[k].bytes.end());
        if (k % 500 == 250) { // times that were never
            for (const std::uint32_t time_ms : {3'000'000u, 2'000u}) {
                const Bytes odd = frame(100, 3, time_ms, user_data(Kind::step, 0));
                capture.insert(capture.end(), odd.begin(), odd.end());
            }
        }
    }
    for (const std::size_t block : {1u, 100u, 4096u, 1'000'000u}) {
        INFO("blocks of " << block);
        Pipeline pipeline(setup, kStart_ns);
        const Read seen = read(pipeline, setup.vehicles[0].dictionary, capture, block);
        CHECK(seen.bytes == capture);
        CHECK(seen.held < 200);
        CHECK(seconds_between(kStart_ns, seen.pieces.back().t_ns) == Approx(30).margin(0.1));
        CHECK(count_events(seen.out, EventId::reboot) == 0);
        CHECK(count_events(seen.out, EventId::clock_jump) == 0);
    }
}

TEST_CASE("a file that holds no packet is handed on as it is read") {
    const PipelineSetup setup = make_setup(1, {{"radio", "file:noise.bin", 0}});
    Bytes noise;
    std::mt19937 random(5);
    while (noise.size() < 300'000) noise.push_back(static_cast<std::byte>(random()));
    Pipeline pipeline(setup, kStart_ns);
    const Read seen = read(pipeline, setup.vehicles[0].dictionary, noise);
    CHECK(seen.bytes == noise);
    CHECK(seen.held == 0);
    CHECK(seen.pieces.size() == (noise.size() + 16383) / 16384);
}
