// Every packet sent is accounted for: accepted once, a duplicate, late, or lost with its cause. The encoder and the
// channel of station.hpp know nothing of the code under test.
#include <catch2/catch.hpp>

#include <map>

#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

const char* const kKinds[] = {"step", "burst", "seldom"};

/// How often each serial number was shown, over the packet tables of a vehicle.
std::map<std::uint32_t, unsigned> serials_shown(const Batch& batch, const Schema& schema, const std::string& vehicle) {
    std::map<std::uint32_t, unsigned> shown;
    for (const char* kind : kKinds) {
        const Table& table = table_named(schema, vehicle + "/" + kind);
        for (const RowRecord& row : batch.rows)
            if (row.table == table.id) ++shown[static_cast<std::uint32_t>(batch.numbers_of(row, table)[0])];
    }
    return shown;
}

std::size_t count_frames(const Batch& batch, PacketVerdict verdict) {
    return static_cast<std::size_t>(std::count_if(
        batch.frames.begin(), batch.frames.end(),
        [verdict](const FrameRecord& frame) { return frame.packet_verdict == verdict; }));
}

/// Packets of one kind lost on one link, known from what was sent: between the first and the newest that came.
std::int64_t lost_on(const std::vector<Sent>& sent, const Transmission& channel, Kind kind) {
    std::set<unsigned> came;
    unsigned first = 0;
    for (const std::size_t k : channel.whole)
        if (sent[k].kind == kind) {
            if (came.empty()) first = sent[k].sequence_count;
            came.insert(sent[k].sequence_count);
        }
    if (came.empty()) return 0;
    const auto known = static_cast<std::int64_t>(std::distance(came.lower_bound(first), came.end()));
    return static_cast<std::int64_t>(*came.rbegin() - first + 1) - known;
}

} // namespace

TEST_CASE("two impaired links: every packet is shown once or known to be lost") {
    for (unsigned seed = 1; seed <= 12; ++seed) {
        INFO("seed " << seed);
        const PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}, {"relay", "test:", 0}});
        std::vector<Sent> sent;
        send(sent, kStart_ns, 60 * kNsPerS, 70'000, 16384 - 500); // the count wraps within ten seconds
        const std::vector<Transmission> channels{
            transmit(sent, 0, {0.10, 0.02, 0.05, 0.03, 20 * kNsPerMs}, seed * 2),
            transmit(sent, 1, {0.20, 0.00, 0.00, 0.02, 20 * kNsPerMs + seed * 30 * kNsPerMs}, seed * 2 + 1)};

        Pipeline pipeline(setup, kStart_ns);
        Batch out;
        for (const Delivery& delivery : in_order(channels))
            pipeline.chunk(delivery.link, delivery.t_ns, delivery.t_ns, delivery.bytes, out);
        for (LinkId link = 0; link < 2; ++link) // ends what is unfinished
            pipeline.chunk(link, kStart_ns + 61 * kNsPerS, 0, Bytes{std::byte{0}}, out);
        pipeline.advance(kStart_ns + 62 * kNsPerS, out);

        std::set<std::uint32_t> expected;
        std::size_t whole = 0;
        for (const Transmission& channel : channels) {
            whole += channel.whole.size();
            for (const std::size_t k : channel.whole) expected.insert(sent[k].serial);
        }
        const auto shown = serials_shown(out, pipeline.schema(), "alpha");
        CHECK(shown.size() == expected.size());
        CHECK(std::all_of(shown.begin(), shown.end(),
                          [&](const auto& one) { return one.second == 1 && expected.contains(one.first); }));
        CHECK(count_frames(out, PacketVerdict::accepted) + count_frames(out, PacketVerdict::late) == expected.size());
        CHECK(count_frames(out, PacketVerdict::duplicate) == whole - expected.size());
        CHECK(count_frames(out, PacketVerdict::late) > 0);
        CHECK(std::none_of(out.events.begin(), out.events.end(),
                           [](const Event& event) { return event.kind == EventKind::reboot; }));

        for (std::size_t link = 0; link < 2; ++link) {
            const std::string name = "link/" + setup.links[link].name;
            const Schema& schema = pipeline.schema();
            CHECK(newest(out, schema, name, "received") == static_cast<double>(channels[link].whole.size()));
            CHECK(newest(out, schema, name, "frames_good") == static_cast<double>(channels[link].whole.size()));
            std::int64_t lost = 0;
            for (const Kind kind : {Kind::step, Kind::burst, Kind::seldom}) {
                lost += lost_on(sent, channels[link], kind);
                CHECK(newest(out, schema, name + "." + kKinds[static_cast<unsigned>(kind)], "lost") ==
                      static_cast<double>(lost_on(sent, channels[link], kind)));
            }
            CHECK(newest(out, schema, name, "lost") == static_cast<double>(lost));
            // Bytes in = in good frames + dropped.
            double good_bytes = 0;
            for (const FrameRecord& frame : out.frames)
                if (frame.link == link && frame.frame_verdict == FrameVerdict::good) good_bytes += frame.link_bytes;
            CHECK(newest(out, schema, name, "bytes") == good_bytes + newest(out, schema, name, "dropped_bytes"));
            CHECK(newest(out, schema, name, "frames_bad") ==
                  newest(out, schema, name, "bad_stuffing") + newest(out, schema, name, "bad_checksum") +
                      newest(out, schema, name, "bad_length") + newest(out, schema, name, "too_long"));
            CHECK(newest(out, schema, name, "frames_bad") >= static_cast<double>(channels[link].damaged) * 0.5);
        }
    }
}

TEST_CASE("rows carry decoded values, their frame and times that do not lie after reception") {
    const PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}});
    std::vector<Sent> sent;
    send(sent, kStart_ns, 20 * kNsPerS, 5'000, 0);
    const Transmission channel = transmit(sent, 0, {}, 5);
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    for (const Delivery& delivery : channel.deliveries)
        pipeline.chunk(0, delivery.t_ns, delivery.t_ns, delivery.bytes, out);

    const Schema& schema = pipeline.schema();
    const Table &step = table_named(schema, "alpha/step"), &burst = table_named(schema, "alpha/burst"),
                &samples = table_named(schema, "alpha/burst.samples");
    CHECK(step.kind == TableKind::packet);
    CHECK(samples.kind == TableKind::batch);
    CHECK(samples.period_s == Approx(0.010));
    CHECK(burst.number_count == 1);
    CHECK(burst.columns.back().is_text);
    std::map<TableId, std::int64_t> newest_ns;
    std::size_t batch_rows = 0;
    for (const RowRecord& row : out.rows) {
        if (row.frame < 0) continue;
        REQUIRE(static_cast<std::size_t>(row.frame) < out.frames.size());
        CHECK(row.t_ns <= row.t_rx_ns);
        CHECK(row.t_rx_ns == out.frames[static_cast<std::size_t>(row.frame)].t_rx_ns);
        CHECK(newest_ns[row.table] <= row.t_ns);
        newest_ns[row.table] = row.t_ns;
        if (row.table == step.id) {
            const auto serial = static_cast<std::uint32_t>(out.numbers_of(row, step)[0]);
            CHECK(out.numbers_of(row, step)[1] == 1 + 0.5 * static_cast<std::int16_t>(serial * 7919u & 0xFFFFu));
            // The truth is known: once the fit has a few seconds, the row is late by the smallest delay and
            // one count.
            if (sent[serial].t_ns > kStart_ns + 8 * kNsPerS)
                CHECK(std::abs(seconds_between(sent[serial].t_ns, row.t_ns) - 0.020) < 0.002);
        } else if (row.table == burst.id) {
            CHECK(out.texts_of(row, burst)[0] == "word");
        } else if (row.table == samples.id) {
            ++batch_rows;
        }
    }
    CHECK(batch_rows == 4 * 400);
    CHECK(std::abs(newest(out, schema, "alpha/estimate/clock", "drift_ppm")) < 100);
    // On-board zero is 5 s before the start; known but for the smallest delay.
    CHECK(newest(out, schema, "alpha/estimate/clock", "onboard_zero_s") == Approx(-5 + 0.020).margin(0.002));
}

TEST_CASE("a reboot is one event, restarts the counts and loses no packet") {
    const PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}});
    std::vector<Sent> sent;
    send(sent, kStart_ns, 10 * kNsPerS, 500'000, 3000);
    const std::size_t before = sent.size();
    const std::int64_t t_boot_ns = kStart_ns + 11 * kNsPerS;
    send(sent, t_boot_ns + 350 * kNsPerMs, 10 * kNsPerS, 350, 0);
    const Transmission channel = transmit(sent, 0, {}, 9);
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    for (const Delivery& delivery : channel.deliveries)
        pipeline.chunk(0, delivery.t_ns, delivery.t_ns, delivery.bytes, out);
    pipeline.advance(kStart_ns + 25 * kNsPerS, out);

    CHECK(serials_shown(out, pipeline.schema(), "alpha").size() == sent.size());
    CHECK(count_frames(out, PacketVerdict::accepted) == sent.size());
    REQUIRE(std::count_if(
                out.events.begin(), out.events.end(), [](const Event& e) { return e.kind == EventKind::reboot; }) == 1);
    const Event& reboot =
        *std::find_if(out.events.begin(), out.events.end(), [](const Event& e) { return e.kind == EventKind::reboot; });
    CHECK(reboot.level == Level::note); // the alert `rebooted` is the caution
    CHECK(reboot.key == "alpha/reboot");
    CHECK(std::abs(seconds_between(t_boot_ns, reboot.t_ns)) < 3 * reboot.t_sigma_s);
    CHECK(out.frames[before - 1].boot == 0);
    CHECK(out.frames[before].boot == 1);
    CHECK(newest(out, pipeline.schema(), "link/radio", "lost") == 0);
    CHECK(newest(out, pipeline.schema(), "link/radio", "sequence_resets") == 3); // one for each kind of packet
    CHECK(newest(out, pipeline.schema(), "alpha/estimate/clock", "boots") == 1);
}

TEST_CASE("the 32-bit millisecond counter rolls over without reboot, loss or a step in time") {
    const PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}});
    std::vector<Sent> sent;
    send(sent, kStart_ns, 20 * kNsPerS, 0xFFFFFFFFu - 10'000, 7);
    const Transmission channel = transmit(sent, 0, {}, 10);
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    for (const Delivery& delivery : channel.deliveries)
        pipeline.chunk(0, delivery.t_ns, delivery.t_ns, delivery.bytes, out);
    CHECK(count_frames(out, PacketVerdict::accepted) == sent.size());
    CHECK(std::ranges::count(out.events, EventKind::sentence, &Event::kind) == std::ssize(out.events));
    CHECK(std::is_sorted(out.frames.begin(), out.frames.end(),
                         [](const FrameRecord& a, const FrameRecord& b) { return a.onboard_ns < b.onboard_ns; }));
    CHECK(out.frames.back().onboard_ns == (0xFFFFFFFFll - 10'000 + 19'980) * kNsPerMs);
}

TEST_CASE("two vehicles on two links do not mix") {
    const PipelineSetup setup = make_setup(2, {{"radio", "test:", 0}, {"boat", "test:", 1}});
    std::vector<Sent> alpha, beta;
    send(alpha, kStart_ns, 10 * kNsPerS, 1'000, 0);
    send(beta, kStart_ns, 10 * kNsPerS, 900'000, 0);
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    for (const Delivery& delivery : in_order({transmit(alpha, 0, {}, 1), transmit(beta, 1, {}, 2)}))
        pipeline.chunk(delivery.link, delivery.t_ns, delivery.t_ns, delivery.bytes, out);
    CHECK(count_frames(out, PacketVerdict::accepted) == alpha.size() + beta.size());
    CHECK(count_frames(out, PacketVerdict::duplicate) == 0);
    CHECK(serials_shown(out, pipeline.schema(), "alpha").size() == alpha.size());
    CHECK(serials_shown(out, pipeline.schema(), "beta").size() == beta.size());
    CHECK(table_named(pipeline.schema(), "beta/estimate/clock").vehicle == 1);
}

TEST_CASE("packets the dictionary cannot read are recorded, counted and not lost") {
    const PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}});
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    Bytes stream;
    const auto add = [&stream](const Bytes& bytes) { stream.insert(stream.end(), bytes.begin(), bytes.end()); };
    add(frame(100, 1, 1000, user_data(Kind::step, 1)));
    add(frame(100, 2, 1020, Bytes(3))); // wrong size
    add(frame(100, 3, 1040, user_data(Kind::step, 3)));
    add(frame(777, 0, 1040, Bytes(8)));  // unknown APID
    add(frame(2047, 0, 1040, Bytes(8))); // idle
    pipeline.chunk(0, kStart_ns + 1, kStart_ns + 1, stream, out);
    pipeline.advance(kStart_ns + kNsPerS, out);
    REQUIRE(out.frames.size() == 5);
    CHECK(out.frames[1].packet_verdict == PacketVerdict::undecodable);
    CHECK(out.frames[1].decode_verdict == DecodeVerdict::wrong_size);
    CHECK(out.frames[1].sequence_count == 2);
    CHECK(out.frames[3].packet_verdict == PacketVerdict::undecodable);
    CHECK(out.frames[3].apid == 777);
    CHECK(out.frames[4].packet_verdict == PacketVerdict::idle);
    CHECK(newest(out, pipeline.schema(), "link/radio", "lost") == 0);
    CHECK(newest(out, pipeline.schema(), "link/radio", "undecodable") == 2);
    CHECK(newest(out, pipeline.schema(), "link/radio", "idle") == 1);
}
