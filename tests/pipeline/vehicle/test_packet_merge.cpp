// Two links around a restart of the flight computer, by the station of station.hpp.
#include <catch2/catch.hpp>

#include "server/pipeline/vehicle/packet_merge.hpp"
#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

TEST_CASE("a straggler of the boot before, by another link, keeps nothing of the new boot from the estimators") {
    const PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}, {"relay", "test:", 0}});
    std::vector<Sent> sent;
    send(sent, kStart_ns, 100 * kNsPerS, 1'000, 0);
    const std::size_t before = sent.size();
    const std::int64_t t_boot_ns = kStart_ns + 100 * kNsPerS + 500 * kNsPerMs;
    send(sent, t_boot_ns + 350 * kNsPerMs, 60 * kNsPerS, 350, 0);

    // The radio loses the last 60 ms of the boot. Of them the relay brings one packet, after the first of the new boot.
    Transmission radio = transmit(sent, 0, {}, 1);
    std::erase_if(radio.deliveries, [&](const Delivery& delivery) {
        return delivery.t_ns > kStart_ns + 99'960 * kNsPerMs && delivery.t_ns < t_boot_ns;
    });
    Transmission relay;
    const auto last = std::find_if(sent.rend() - static_cast<std::ptrdiff_t>(before), sent.rend(),
                                   [](const Sent& packet) { return packet.kind == Kind::burst; });
    relay.deliveries.push_back({t_boot_ns + 380 * kNsPerMs, 1, last->bytes});
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    for (const Delivery& delivery : in_order({radio, relay}))
        pipeline.chunk(delivery.link, delivery.t_ns, delivery.t_ns, delivery.bytes, out);

    std::size_t accepted_after = 0, late_after = 0;
    for (const FrameRecord& frame : out.frames) {
        if (frame.boot == 0) continue;
        accepted_after += frame.packet_verdict == PacketVerdict::accepted ? 1 : 0;
        late_after += frame.packet_verdict == PacketVerdict::late ? 1 : 0;
    }
    CHECK(accepted_after == sent.size() - before);
    CHECK(late_after == 0);
    CHECK(std::count_if(out.events.begin(), out.events.end(),
                        [](const Event& e) { return e.kind == EventKind::reboot; }) == 1);
}

TEST_CASE("what the first packet of a boot leaves unknown is not taken from the boot before") {
    PacketMerge merge;
    PacketMerge::Seen packet;
    packet.sequence_count = 500;
    packet.onboard_ns = 3600 * kNsPerS;
    CHECK(merge.take(packet) == PacketVerdict::accepted);
    packet.boot = 1;
    packet.sequence_count = 0;
    packet.onboard_ns = -1; // not believed
    CHECK(merge.take(packet) == PacketVerdict::accepted);
    for (std::uint16_t k = 1; k < 100; ++k) {
        packet.sequence_count = k;
        packet.onboard_ns = k * 20 * kNsPerMs;
        CHECK(merge.take(packet) == PacketVerdict::accepted);
    }
}

TEST_CASE("what was heard long before the newest packet is late, whatever its count says") {
    PacketMerge merge(true);
    PacketMerge::Seen packet; // without a time of its own
    for (unsigned k = 0; k < 9000; ++k) {
        packet.sequence_count = static_cast<std::uint16_t>(k);
        packet.t_heard_ns = k * 20 * kNsPerMs;
        if (k != 500) CHECK(merge.take(packet) == PacketVerdict::accepted);
    }
    packet.sequence_count = 500; // 170 s ago, half of all counts
    packet.t_heard_ns = 500 * 20 * kNsPerMs;
    CHECK(merge.find_duplicate(packet) == nullptr);
    CHECK(merge.take(packet) == PacketVerdict::late);
    packet.sequence_count = 9000;
    packet.t_heard_ns = 9000 * 20 * kNsPerMs;
    CHECK(merge.take(packet) == PacketVerdict::accepted);
}
