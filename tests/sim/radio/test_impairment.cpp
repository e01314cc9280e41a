/// Loss, damage and delay have the stated statistics, and every packet is accounted for.
#include <algorithm>
#include <cmath>
#include <map>
#include <sstream>

#include "tests/sim/decoded.hpp"
#include "tools/sim/manifest.hpp"

using namespace turnstone;
using namespace turnstone::sim;

namespace {

/// Long enough for statistics, with a vehicle at rest.
Scenario standing(const Impairment& impairment) {
    Scenario scenario = demo_scenario("on-the-rail");
    scenario.before_ignition_s = 300.0;
    scenario.impairment = impairment;
    return scenario;
}

struct Counts {
    double packets = 0.0, lost = 0.0, faded = 0.0, corrupted = 0.0, truncated = 0.0, duplicated = 0.0, reordered = 0.0,
           bits = 0.0, bytes_changed = 0.0;
};

Counts count(const FlightResult& flight) {
    Counts counts;
    for (std::size_t i = 0; i < flight.received.fates.size(); ++i) {
        const PacketFate& fate = flight.received.fates[i];
        counts.packets += 1.0;
        counts.lost += fate.fate == Fate::lost ? 1.0 : 0.0;
        counts.faded += fate.faded ? 1.0 : 0.0;
        counts.corrupted += fate.fate == Fate::corrupted ? 1.0 : 0.0;
        counts.truncated += fate.fate == Fate::truncated ? 1.0 : 0.0;
        counts.duplicated += fate.duplicated ? 1.0 : 0.0;
        counts.reordered += fate.reordered ? 1.0 : 0.0;
        counts.bytes_changed += fate.bytes_changed;
        counts.bits += 8.0 * static_cast<double>(flight.sent.packets[i].size);
    }
    return counts;
}

/// Four standard errors of a binomial proportion.
double four_sigma(double p, double n) {
    return 4.0 * std::sqrt(p * (1.0 - p) / n);
}

} // namespace

TEST_CASE("Each impairment happens as often as asked") {
    const Impairment wanted{.loss = 0.1, .bit_error = 1e-4, .duplicate = 0.05, .truncation = 0.02, .reorder = 0.03};
    const FlightResult flight = fly(standing(wanted), 3);
    const Counts counts = count(flight);
    REQUIRE(counts.packets > 25000.0);
    const double n = counts.packets;
    const double kept = n - counts.lost;
    CHECK(counts.lost / n == Approx(0.1).margin(four_sigma(0.1, n)));
    CHECK(counts.truncated / kept == Approx(0.02).margin(four_sigma(0.02, kept)));
    CHECK(counts.duplicated / kept == Approx(0.05).margin(four_sigma(0.05, kept)));
    CHECK(counts.reordered / kept == Approx(0.03).margin(four_sigma(0.03, kept)));
    const double bits = counts.bits * 0.9;
    CHECK(counts.bytes_changed / bits == Approx(1e-4).margin(four_sigma(1e-4, bits)));
    CHECK(counts.faded == 0.0);
}

TEST_CASE("Fades last two seconds and come as often as asked") {
    const Impairment wanted{.fades_per_minute = 3.0, .fade_s = 2.0};
    double lost_s = 0.0;
    int fades = 0;
    const int runs = 6;
    for (std::uint64_t seed = 1; seed <= runs; ++seed) {
        const FlightResult flight = fly(standing(wanted), seed);
        double begin_s = -1.0;
        for (std::size_t i = 0; i < flight.sent.packets.size(); ++i) {
            const bool faded = flight.received.fates[i].faded;
            if (faded && begin_s < 0.0) {
                begin_s = flight.sent.packets[i].t_begin_s;
                ++fades;
            } else if (!faded && begin_s >= 0.0) {
                const double length_s = flight.sent.packets[i].t_begin_s - begin_s;
                CHECK(length_s > 1.9); // two fades may touch
                lost_s += length_s;
                begin_s = -1.0;
            }
        }
    }
    // Gaps are exponential with mean 20 s after 2 s of fade: 14 in 315 s, a Poisson count.
    CHECK(fades == Approx(runs * 315.0 / 22.0).margin(4.0 * std::sqrt(runs * 315.0 / 22.0)));
    CHECK(lost_s / fades == Approx(2.05).margin(0.25));
}

TEST_CASE("Range loses half the packets where it says, and few near the pad") {
    Scenario scenario = demo_scenario("nominal");
    scenario.impairment.range_half_m = 600.0;
    const FlightResult flight = fly(scenario, 1);
    double near = 0.0, near_lost = 0.0, far = 0.0, far_lost = 0.0;
    for (std::size_t i = 0; i < flight.sent.packets.size(); ++i) {
        const auto tick = static_cast<std::size_t>(flight.sent.packets[i].t_begin_s / kTruthStep_s);
        const double range_m =
            flight.truth.samples.at(std::min(tick, flight.truth.samples.size() - 1)).position_enu_m.norm();
        const bool lost = flight.received.fates[i].faded;
        near += range_m < 100.0 ? 1.0 : 0.0;
        near_lost += range_m < 100.0 && lost ? 1.0 : 0.0;
        far += range_m > 900.0 ? 1.0 : 0.0;
        far_lost += range_m > 900.0 && lost ? 1.0 : 0.0;
    }
    CHECK(near_lost / near < 0.02);
    CHECK(far_lost / far > 0.8);
}

TEST_CASE("Every packet the manifest calls intact is decoded, and no other") {
    Scenario scenario = demo_scenario("nominal");
    scenario.disperse = true;
    for (const char* name : {"clean", "mild", "rough"}) {
        scenario.impairment = impairment_from_name(name).value();
        for (std::uint64_t seed = 1; seed <= 3; ++seed) {
            INFO(name << ", seed " << seed);
            const FlightResult flight = fly(scenario, seed);
            std::map<std::pair<std::uint16_t, std::uint16_t>, std::uint32_t> expected, decoded;
            for (std::size_t i = 0; i < flight.sent.packets.size(); ++i) {
                if (flight.received.fates[i].intact_copies > 0) {
                    expected[{flight.sent.packets[i].apid, flight.sent.packets[i].sequence_count}] +=
                        flight.received.fates[i].intact_copies;
                }
            }
            for (const auto& packet : decode(flight).packets) ++decoded[packet];
            CHECK(decoded == expected);
        }
    }
    CHECK_FALSE(impairment_from_name("stormy"));
}

TEST_CASE("Bytes reach the receiver one after another at the radio's rate") {
    Scenario scenario = demo_scenario("nominal");
    scenario.impairment = impairment_from_name("rough").value();
    const FlightResult flight = fly(scenario, 5);
    double free_s = 0.0;
    for (const SentPacket& packet : flight.sent.packets) {
        REQUIRE(packet.t_begin_s >= free_s - 1e-12);
        REQUIRE(packet.t_end_s - packet.t_begin_s == Approx(static_cast<double>(packet.size) * 10.0 / 57600.0));
        REQUIRE(packet.t_begin_s - packet.t_made_s < 0.05); // the radio keeps up
        free_s = packet.t_end_s;
    }
    free_s = 0.0;
    std::size_t bytes = 0;
    for (const Delivery& delivery : flight.received.deliveries) {
        REQUIRE(delivery.t_begin_s >= free_s - 1e-12);
        free_s = delivery.t_end_s;
        bytes += delivery.size;
    }
    CHECK(bytes == flight.received.bytes.size());
}

TEST_CASE("The manifest has one line for the run and one for every packet") {
    Scenario scenario = demo_scenario("reboot-at-ejection");
    scenario.impairment = impairment_from_name("mild").value();
    const FlightResult flight = fly(scenario, 6);
    std::stringstream file;
    write_manifest(file, flight, scenario, 6);
    std::string line;
    REQUIRE(std::getline(file, line));
    const nlohmann::json run = nlohmann::json::parse(line);
    CHECK(run.at("scenario") == "reboot-at-ejection");
    CHECK(run.at("packets") == flight.sent.packets.size());
    CHECK(run.at("events").at("apogee_s").get<double>() == Approx(flight.truth.events.apogee_s));
    CHECK(run.at("events").at("ejections").size() == 2);
    CHECK(run.at("clock").at("rebooted_s").is_number());
    std::size_t packets = 0, bytes = 0;
    while (std::getline(file, line)) {
        const nlohmann::json packet = nlohmann::json::parse(line);
        const SentPacket& sent = flight.sent.packets.at(packets);
        REQUIRE(packet.at("apid") == sent.apid);
        REQUIRE(packet.at("sequence_count") == sent.sequence_count);
        REQUIRE(packet.at("onboard_ms") == sent.onboard_ms);
        REQUIRE(packet.at("fate") == to_string(flight.received.fates[packets].fate));
        bytes += packet.at("bytes").get<std::size_t>();
        ++packets;
    }
    CHECK(packets == flight.sent.packets.size());
    CHECK(bytes == flight.sent.bytes.size());
}

TEST_CASE("The truth file has a row for every sample and as many columns as its header") {
    Scenario scenario = demo_scenario("ballistic");
    const SensedFlight flight = fly_sensors(scenario, 1);
    std::stringstream file;
    write_truth(file, flight.truth);
    std::string line;
    REQUIRE(std::getline(file, line));
    const auto commas = std::count(line.begin(), line.end(), ',');
    std::size_t rows = 0;
    while (std::getline(file, line)) {
        REQUIRE(std::count(line.begin(), line.end(), ',') == commas);
        ++rows;
    }
    CHECK(rows == flight.truth.samples.size());
}

TEST_CASE("Several receivers lose and damage each on their own") {
    const Impairment first{.loss = 0.1, .bit_error = 1e-4};
    Scenario alone = standing(first), together = standing(first);
    together.further_receivers = {{.loss = 0.2, .bit_error = 1e-4}, first};
    const FlightResult flight = fly(together, 4);
    CHECK(flight.received.bytes == fly(alone, 4).received.bytes);
    REQUIRE(flight.further.size() == 2);
    double all_lost = 0.0, damaged = 0.0, damaged_twice = 0.0, good_once = 0.0;
    for (std::size_t i = 0; i < flight.sent.packets.size(); ++i) {
        const PacketFate fates[] = {flight.received.fates[i], flight.further[0].fates[i], flight.further[1].fates[i]};
        const auto with = [&](Fate fate) { return std::ranges::count(fates, fate, &PacketFate::fate); };
        all_lost += with(Fate::lost) == 3 ? 1.0 : 0.0;
        good_once += fates[0].fate == Fate::delivered ? 1.0 : 0.0;
        damaged += fates[0].fate == Fate::corrupted ? 1.0 : 0.0;
        damaged_twice += fates[0].fate == Fate::corrupted && fates[2].fate == Fate::corrupted ? 1.0 : 0.0;
    }
    const auto n = static_cast<double>(flight.sent.packets.size());
    CHECK(all_lost / n == Approx(0.1 * 0.2 * 0.1).margin(four_sigma(0.002, n)));
    // Independent: of frames of all sizes together a little more than the square of the mean.
    const double square = damaged / n * damaged / n;
    CHECK(damaged_twice / n > square - four_sigma(square, n));
    CHECK(damaged_twice < 0.2 * damaged);
    CHECK(good_once / n > 0.8);
}
