// Loss by sequence gaps against counts kept by hand. The count is CCSDS 133.0-B-2, 4.1.3.4.3: modulo 16384,
// one per APID.
#include <catch2/catch.hpp>

#include <algorithm>
#include <random>
#include <set>
#include <vector>

#include "server/pipeline/link/link_quality.hpp"
#include "shared/time.hpp"

using namespace turnstone;

namespace {

struct Arrival {
    unsigned count; ///< not wrapped
    double t_s;
    std::uint32_t boot = 0;
};

QualityCounts feed(PacketQuality& quality, const std::vector<Arrival>& arrivals) {
    for (const Arrival& arrival : arrivals)
        quality.packet(static_cast<std::uint16_t>(arrival.count % 16384), arrival.boot, seconds_to_ns(arrival.t_s), 40);
    return quality.counts();
}

} // namespace

TEST_CASE("sequence gaps become losses, and only those that time allows") {
    struct Case {
        const char* name;
        double period_s;
        std::vector<Arrival> arrivals;
        std::int64_t lost;
        std::uint64_t out_of_order, resets;
    };
    const std::vector<Case> table{
        {"in order", 0.1, {{5, 0}, {6, 0.1}, {7, 0.2}}, 0, 0, 0},
        {"one gap of three", 0.1, {{5, 0}, {9, 0.4}}, 3, 0, 0},
        {"wrap", 0.1, {{16382, 0}, {16383, 0.1}, {16384, 0.2}, {16386, 0.4}}, 1, 0, 0},
        {"gap filled later", 0.1, {{5, 0}, {8, 0.3}, {6, 0.31}, {9, 0.4}}, 1, 1, 0},
        {"filled across the wrap", 0.1, {{16382, 0}, {16385, 0.3}, {16383, 0.31}, {16384, 0.32}}, 0, 2, 0},
        {"the same packet again", 0.1, {{5, 0}, {6, 0.1}, {6, 0.11}, {5, 0.12}, {7, 0.2}}, 0, 0, 0},
        {"sent before the first that came", 0.1, {{5, 0}, {4, 0.01}, {6, 0.1}}, 0, 1, 0},
        {"a gap larger than time allows is a restart",
         0.1,
         {{5, 0}, {6, 0.1}, {9000, 0.2}, {9001, 0.3}, {9003, 0.5}},
         1,
         0,
         1},
        {"a new boot restarts", 0.1, {{500, 0}, {501, 0.1}, {0, 3.0, 1}, {1, 3.1, 1}, {3, 3.3, 1}}, 1, 0, 1},
        {"a straggler of the boot before changes nothing",
         0.1,
         {{500, 0}, {0, 3.0, 1}, {501, 3.01, 0}, {1, 3.1, 1}},
         0,
         0,
         1},
        {"an hour of silence, two whole turns", 0.1, {{100, 0}, {100 + 36000, 3600}}, 35999, 0, 0},
        {"a silence that ends just below the count is not a packet out of order",
         0.02,
         {{20000, 0}, {20000 + 16384 - 200, 323.7}},
         16183,
         0,
         0},
        {"sporadic", 0, {{1, 0}, {4, 900}}, 2, 0, 0},
        {"sporadic, count begun again", 0, {{9000, 0}, {0, 900}, {1, 901}}, 0, 0, 1},
    };
    for (const Case& one : table) {
        INFO(one.name);
        PacketQuality quality(one.period_s);
        const QualityCounts counts = feed(quality, one.arrivals);
        CHECK(counts.received == one.arrivals.size());
        CHECK(counts.lost == one.lost);
        CHECK(counts.out_of_order == one.out_of_order);
        CHECK(counts.sequence_resets == one.resets);
    }
}

TEST_CASE("what the station missed while it did not run is not lost by the link") {
    struct Case {
        const char* name;
        double period_s, absent_s;
        Arrival before, after;
        std::int64_t lost;
    };
    const std::vector<Case> table{
        {"as many as fit into the absence", 0.1, 10, {100, 0}, {201, 10.1}, 0},
        {"and the one that its end cut in two", 0.1, 10, {100, 0}, {202, 10.2}, 0},
        {"a fade after it is the link's", 0.1, 10, {100, 0}, {251, 15.1}, 49},
        {"a whole turn of the count", 0.02, 320, {100, 0}, {100 + 16400, 328}, 398},
        {"sporadic ones as if sent evenly", 0, 29, {1, 0}, {11, 90}, 5},
        {"longer than the gap, which two clocks may say", 0.1, 11, {100, 0}, {201, 10.1}, 0},
        {"no gap", 0.1, 0.05, {100, 0}, {101, 0.1}, 0},
    };
    for (const Case& one : table) {
        INFO(one.name);
        LinkQuality link(std::vector<double>{one.period_s});
        const auto packet = [&](const Arrival& arrival) {
            link.packet(0, static_cast<std::uint16_t>(arrival.count % 16384), 0, seconds_to_ns(arrival.t_s), 40);
        };
        packet(one.before);
        link.absent(seconds_to_ns(one.absent_s));
        packet(one.after);
        CHECK(link.counts().lost == one.lost);
        // It explains one gap only; what comes late from then makes no loss good.
        packet({one.after.count - 1, one.after.t_s + 0.01});
        CHECK(link.counts().lost >= 0);
        packet({one.after.count + 3, one.after.t_s + 0.3});
        CHECK(link.packets()[0].counts().lost == link.counts().lost);
        CHECK(link.counts().lost >= 2);
    }
}

TEST_CASE("counts equal the truth over seeded loss, duplication and reordering") {
    for (unsigned seed = 1; seed <= 20; ++seed) {
        INFO("seed " << seed);
        std::mt19937_64 random(seed);
        std::uniform_real_distribution<double> chance(0, 1);
        const unsigned first = seed * 777, sent = 40000; // more than two turns of the count
        std::vector<Arrival> arrivals;
        std::set<unsigned> came;
        for (unsigned k = 0; k < sent; ++k) {
            const double t_s = k * 0.02;
            if (chance(random) < 0.15) continue;
            came.insert(k);
            const double held_s = chance(random) < 0.05 ? 0.3 * chance(random) : 0;
            arrivals.push_back({first + k, t_s + held_s});
            if (chance(random) < 0.05) arrivals.push_back({first + k, t_s + held_s + 0.2 * chance(random)});
        }
        std::stable_sort(arrivals.begin(), arrivals.end(),
                         [](const Arrival& a, const Arrival& b) { return a.t_s < b.t_s; });
        std::uint64_t out_of_order = 0, first_seen = 0;
        std::set<unsigned> before;
        for (const Arrival& arrival : arrivals) {
            if (!before.insert(arrival.count).second) continue;
            ++first_seen;
            if (arrival.count < *before.rbegin()) ++out_of_order;
        }
        PacketQuality quality(0.02);
        const QualityCounts counts = feed(quality, arrivals);
        CHECK(counts.received == arrivals.size());
        CHECK(first_seen == came.size());
        CHECK(counts.out_of_order == out_of_order);
        CHECK(counts.sequence_resets == 0);
        // What was sent before the first arrival, or after the last, cannot be known.
        const unsigned from = arrivals.front().count - first, to = *came.rbegin();
        const auto known =
            static_cast<std::int64_t>(std::count_if(came.begin(), came.end(), [&](unsigned k) { return k >= from; }));
        CHECK(counts.lost == static_cast<std::int64_t>(to - from + 1) - known);
    }
}

TEST_CASE("rates and losses cover the last 1, 10 and 60 seconds") {
    // 50 packets a second for 90 s; every tenth is lost in the last 5 s.
    const double period_s = 0.02;
    LinkQuality link(std::vector<double>{period_s});
    std::int64_t t_ns = 0;
    unsigned count = 0;
    for (unsigned step = 0; step < 900; ++step) {
        for (unsigned k = 0; k < 5; ++k, ++count, t_ns += 20 * kNsPerMs) {
            if (step >= 850 && count % 10 == 5) continue;
            link.bytes(30);
            link.packet(0, static_cast<std::uint16_t>(count % 16384), 0, t_ns, 30);
        }
        link.tick();
    }
    const QualityWindows& windows = link.windows();
    CHECK(windows.loss(0) == Approx(5.0 / 50));
    CHECK(windows.loss(1) == Approx(25.0 / 500));
    CHECK(windows.loss(2) == Approx(25.0 / 3000));
    CHECK(windows.sums(0).fresh == 45);
    CHECK(windows.sums(2).bytes == 30 * 2975);
    CHECK(link.age_s(t_ns + kNsPerS) == Approx(1.02));
    // Silence: nothing is known to be sent, so no loss is claimed; the age grows.
    for (unsigned step = 0; step < 10; ++step) link.tick();
    CHECK(std::isnan(windows.loss(0)));
    for (unsigned step = 0; step < 600; ++step) link.tick();
    CHECK(std::isnan(windows.loss(2)));
    CHECK(windows.sums(2).bytes == 0);
}
