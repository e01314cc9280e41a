// Three receivers of one vehicle, each with losses and errors of its own: who heard what, what is made of damaged
// copies, and where every byte went. The encoder and the channel of station.hpp know nothing of the code under test.
#include <catch2/catch.hpp>

#include <map>

#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

struct Hearing {
    std::size_t first = 0, only = 0; ///< packets
};

/// Of each link, by what it brought whole and when.
std::vector<Hearing> hearings(const std::vector<Sent>& sent, const std::vector<Transmission>& channels,
                              const std::set<std::uint32_t>& combined) {
    struct Copy {
        std::int64_t t_ns;
        std::size_t link;
    };
    std::map<std::uint32_t, std::vector<Copy>> copies;
    for (std::size_t link = 0; link < channels.size(); ++link) {
        // The deliveries that are whole, in their order, are those of `whole`.
        std::size_t next = 0;
        for (const Delivery& delivery : channels[link].deliveries)
            if (next < channels[link].whole.size() && delivery.bytes == sent[channels[link].whole[next]].bytes)
                copies[sent[channels[link].whole[next++]].serial].push_back({delivery.t_ns, link});
        REQUIRE(next == channels[link].whole.size());
    }
    std::vector<Hearing> out(channels.size());
    for (auto& entry : copies) {
        std::vector<Copy>& of_packet = entry.second;
        REQUIRE_FALSE(combined.contains(entry.first));
        std::ranges::stable_sort(of_packet, {}, &Copy::t_ns);
        const std::size_t link = of_packet.front().link;
        ++out[link].first;
        out[link].only += std::ranges::count(of_packet, link, &Copy::link) == std::ssize(of_packet) ? 1 : 0;
    }
    return out;
}

} // namespace

TEST_CASE("three damaged links: what they give together is shown once, and every byte has one place") {
    std::size_t combined_in_all = 0;
    for (unsigned seed = 1; seed <= 6; ++seed) {
        INFO("seed " << seed);
        const PipelineSetup setup = make_setup(1, {{"pad", "test:", 0}, {"hill", "test:", 0}, {"boat", "test:", 0}});
        std::vector<Sent> sent;
        send(sent, kStart_ns, 60 * kNsPerS, 70'000, 16384 - 500);
        const std::vector<Transmission> channels{
            transmit(sent, 0, {.loss = 0.05, .bit_error = 0.7}, seed * 3),
            transmit(sent, 1, {.loss = 0.1, .bit_error = 0.8, .delay_ns = 30 * kNsPerMs}, seed * 3 + 1),
            transmit(sent, 2, {.loss = 0.02, .bit_error = 0.6, .delay_ns = 120 * kNsPerMs}, seed * 3 + 2)};

        Pipeline pipeline(setup, kStart_ns);
        const Schema& schema = pipeline.schema();
        Batch out;
        for (const Delivery& delivery : in_order(channels))
            pipeline.chunk(delivery.link, delivery.t_ns, delivery.t_ns, delivery.bytes, out);
        for (LinkId link = 0; link < 3; ++link) // ends what is unfinished
            pipeline.chunk(link, kStart_ns + 61 * kNsPerS, 0, Bytes{std::byte{0}}, out);
        pipeline.advance(kStart_ns + 62 * kNsPerS, out);

        std::set<std::uint32_t> whole, shown, combined;
        for (const Transmission& channel : channels)
            for (const std::size_t k : channel.whole) whole.insert(sent[k].serial);
        for (const char* kind : {"step", "burst", "seldom"}) {
            const Table& table = table_named(schema, "alpha/" + std::string(kind));
            for (const RowRecord& row : out.rows) {
                if (row.table != table.id) continue;
                const auto serial = static_cast<std::uint32_t>(out.numbers_of(row, table)[0]);
                REQUIRE(serial < sent.size());
                CHECK(shown.insert(serial).second);
                if (out.frames[static_cast<std::size_t>(row.frame)].frame_verdict == FrameVerdict::combined)
                    combined.insert(serial);
                if (sent[serial].kind == Kind::step)
                    CHECK(out.numbers_of(row, table)[1] ==
                          1 + 0.5 * static_cast<std::int16_t>(serial * 7919u & 0xFFFFu));
            }
        }
        CHECK(shown.size() == whole.size() + combined.size());
        CHECK(std::ranges::includes(shown, whole));
        combined_in_all += combined.size();

        const std::vector<Hearing> heard = hearings(sent, channels, combined);
        double combined_from = 0;
        for (std::size_t link = 0; link < 3; ++link) {
            const std::string name = "link/" + setup.links[link].name;
            CHECK(newest(out, schema, name, "first_here") == static_cast<double>(heard[link].first));
            CHECK(newest(out, schema, name, "only_here") == static_cast<double>(heard[link].only));
            combined_from += newest(out, schema, name, "combined_from");
            CHECK(newest(out, schema, name, "combined_from") <= newest(out, schema, name, "frames_bad"));
            // A combined frame is received by no link, and has none of its bytes.
            CHECK(newest(out, schema, name, "received") == static_cast<double>(channels[link].whole.size()));
            double good_bytes = 0, bad_bytes = 0;
            std::uint64_t next = 0;
            for (const FrameRecord& frame : out.frames) {
                if (frame.link != link) continue;
                if (frame.frame_verdict == FrameVerdict::combined) {
                    CHECK(frame.link_bytes == 0);
                    CHECK(frame.stream_offset == next);
                }
                next = frame.stream_offset + frame.link_bytes;
                (frame.frame_verdict == FrameVerdict::good ? good_bytes : bad_bytes) += frame.link_bytes;
            }
            CHECK(newest(out, schema, name, "bytes") == good_bytes + newest(out, schema, name, "dropped_bytes"));
            // Nothing is between some delimiters, where a bit error made one beside another, and before the last.
            double empty = 0;
            std::byte before{0};
            Bytes stream;
            for (const Delivery& delivery : channels[link].deliveries)
                stream.insert(stream.end(), delivery.bytes.begin(), delivery.bytes.end());
            stream.push_back(std::byte{0});
            for (const std::byte byte : stream)
                empty += std::exchange(before, byte) == std::byte{0} && byte == std::byte{0} ? 1 : 0;
            CHECK(newest(out, schema, name, "dropped_bytes") == bad_bytes + empty);
        }
        CHECK(combined_from == 3 * static_cast<double>(combined.size()));
    }
    // All three damaged, of those that came: about a quarter of 4500 each.
    CHECK(combined_in_all > 5000);
}
