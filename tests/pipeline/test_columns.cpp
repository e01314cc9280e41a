// The pipeline's own tables: each column holds the quantity of its name. Those of the chain: tests/estimate/chain.
#include <array>
#include <utility>

#include <catch2/catch.hpp>

#include "server/pipeline/link/link_track.hpp"
#include "server/pipeline/vehicle/vehicle_track.hpp"
#include "shared/time.hpp"
#include "tests/support/columns.hpp"

using namespace turnstone;
using namespace turnstone::test;

TEST_CASE("columns of the clock hold their quantities") {
    const ClockFit fit{.has_slope = true, .drift_ppm = 1, .drift_bound_ppm = 2, .bound_s = 3};
    const ClockFigures figures{.fit = fit,
                               .onboard_zero_s = 4,
                               .delay_s = 5,
                               .boots = 6,
                               .utc = {.offset_s = 7, .wander_s = 8},
                               .least_delay_bound_s = 20,
                               .gnss = {.ahead_s = 9, .bound_s = 10}};
    check_columns(clock_table(), figures,
                  {{"onboard_zero_s", 4},
                   {"onboard_zero_bound_s", 23},
                   {"drift_ppm", 1},
                   {"drift_bound_ppm", 2},
                   {"delay_s", 5},
                   {"boots", 6},
                   {"utc_offset_s", 7},
                   {"utc_bound_s", 31},
                   {"gnss_ahead_s", 9},
                   {"gnss_ahead_bound_s", 10}});
}

TEST_CASE("columns of a link hold their quantities") {
    const std::array<double, 1> periods_s{0.0};
    LinkQuality quality(periods_s);
    constexpr std::pair<FrameVerdict, int> kBad[] = {
        {FrameVerdict::bad_cobs, 101},  {FrameVerdict::bad_crc, 102},      {FrameVerdict::bad_length, 103},
        {FrameVerdict::too_long, 104},  {FrameVerdict::no_checksum, 111},  {FrameVerdict::not_text, 112},
        {FrameVerdict::cut_short, 113}, {FrameVerdict::outside, 114},      {FrameVerdict::bad_escape, 1000},
        {FrameVerdict::not_data, 115},  {FrameVerdict::uncorrectable, 116}};
    for (const auto& [verdict, count] : kBad)
        for (int k = 0; k < count; ++k) quality.bad_frame(verdict);
    for (int k = 0; k < 105; ++k) quality.undecodable();
    for (int k = 0; k < 106; ++k) quality.idle_frame(0);
    for (int k = 0; k < 107; ++k) quality.duplicate(0);
    for (int k = 0; k < 108; ++k) quality.late(0);
    // Packets: 0, then 24 lost, one of which comes late, then the count restarts, twice.
    const std::int64_t t_last_ns = 20 * kNsPerS;
    for (const int count : {0, 25, 20, 8000, 16000})
        quality.packet(0, static_cast<std::uint16_t>(count), 0, count == 16000 ? t_last_ns : kNsPerS, 0);
    // Bytes, and packets one after the other: the more the longer ago, for 65 s.
    std::uint16_t next = 16001;
    for (int tick = 0; tick < 650; ++tick) {
        quality.bytes(tick < 50 ? 0 : tick < 550 ? 300 : tick < 640 ? 200 : 100);
        const int packets = tick < 50 ? 0 : tick < 550 ? 3 : tick < 640 ? 2 : 1;
        for (int k = 0; k < packets; ++k) {
            quality.packet(0, static_cast<std::uint16_t>(next % 16384), 0, t_last_ns, 0);
            next = static_cast<std::uint16_t>((next + 1) % 16384);
        }
        // In the last minute one is lost, in the last ten seconds two more, in the last second one more.
        if (tick == 100 || tick == 560 || tick == 570 || tick == 645)
            next = static_cast<std::uint16_t>((next + 1) % 16384);
        quality.tick();
    }
    const DeframerCounts frames{
        .bytes_in = 1, .bytes_framed = 2, .bytes_dropped = 201, .frames_good = 202, .frames_bad = 203};
    const ReceiverCounts receiver{.first = 301, .only = 302, .combined_from = 303};
    const auto loss = [](double lost, double fresh) { return lost / (lost + fresh); };
    const double fresh_60s = 500 * 3 + 90 * 2 + 10, fresh_10s = 90 * 2 + 10, fresh_1s = 10;
    const ExpectedColumns packets{{"received", 5 + fresh_60s},
                                  {"lost", 24 - 1 + 4},
                                  {"duplicates", 107},
                                  {"late", 108},
                                  {"out_of_order", 1},
                                  {"sequence_resets", 2},
                                  {"rate_1s", fresh_1s},
                                  {"rate_10s", fresh_10s / 10},
                                  {"rate_60s", fresh_60s / 60},
                                  {"loss_1s", loss(1, fresh_1s)},
                                  {"loss_10s", loss(3, fresh_10s)},
                                  {"loss_60s", loss(4, fresh_60s)}};
    ExpectedColumns link{{"bytes", 500 * 300 + 90 * 200 + 10 * 100},
                         {"frames_good", 202},
                         {"frames_bad", 203},
                         {"bad_stuffing", 1101},
                         {"bad_checksum", 102},
                         {"bad_length", 103},
                         {"too_long", 104},
                         {"no_checksum", 111},
                         {"not_text", 112},
                         {"cut_short", 113},
                         {"outside", 114},
                         {"not_data", 115},
                         {"uncorrectable", 116},
                         {"dropped_bytes", 201},
                         {"undecodable", 105},
                         {"idle", 106},
                         {"age_s", 80.5},
                         {"first_here", 301},
                         {"only_here", 302},
                         {"combined_from", 303},
                         {"clock_lead_s", -0.25},
                         {"relay_s", 0.125},
                         {"byte_rate_1s", 1000},
                         {"byte_rate_10s", (90 * 200 + 1000) / 10.0},
                         {"byte_rate_60s", (500 * 300 + 90 * 200 + 1000) / 60.0}};
    link.insert(packets.begin(), packets.end());
    const std::int64_t t_ns = t_last_ns + seconds_to_ns(80.5);
    check_columns(link_table(), LinkFigures{frames, quality, receiver, -0.25, 0.125, t_ns}, link);
    ExpectedColumns packet = packets;
    packet["age_s"] = 80.5;
    const CodeFigures before{
        .symbols_corrected = 300, .symbols_checked = 1000, .channel_symbols = 5, .channel_errors = 1};
    const CodeFigures now{.frames = 301,
                          .frames_lost = 302,
                          .packets_cut = 303,
                          .symbols_corrected = 304,
                          .symbols_checked = 2000,
                          .channel_symbols = 105,
                          .channel_errors = 26,
                          .bit_slips = 305,
                          .marker_errors = 7,
                          .is_inverted = true,
                          .worst_corrected = 5,
                          .control_field = 306};
    check_columns(code_table(), CodePeriod{now, before, 16},
                  {{"frames", 301},
                   {"frames_lost", 302},
                   {"packets_cut", 303},
                   {"corrected", 304},
                   {"symbol_errors", 0.004},
                   {"margin", 11},
                   {"channel_errors", 0.25},
                   {"marker_errors", 7},
                   {"bit_slips", 305},
                   {"inverted", 1},
                   {"control_field", 306}});
    check_columns(link_packet_table(), PacketFigures{quality.packets()[0], t_ns}, packet);
}
