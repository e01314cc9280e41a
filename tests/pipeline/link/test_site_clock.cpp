// Links of another station: rows get the time at which that one received them, whatever the way between took, and the
// clocks of the two are compared.
#include <catch2/catch.hpp>

#include <cmath>
#include <random>

#include "server/pipeline/link/site_clock.hpp"
#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

double column(const Pipeline& pipeline, const Batch& out, const std::string& table_name, const std::string& name) {
    double value = std::nan("");
    for (const RowRecord& row : out.rows) {
        const Table& table = pipeline.schema().tables[row.table];
        if (table.name != table_name) continue;
        for (std::size_t k = 0; k < table.number_count; ++k)
            if (table.columns[k].name == name) value = out.numbers_of(row, table)[k];
    }
    return value;
}

} // namespace

TEST_CASE("The quickest message of the last minutes compares two clocks") {
    SiteClock clock;
    const auto at = [](double t_s) { return kStart_ns + seconds_to_ns(t_s); };
    CHECK(std::isinf(clock.lead_most_s()));
    CHECK(clock.take(at(10), "a", at(8)) == Approx(0));
    CHECK(clock.lead_most_s() == Approx(2));
    CHECK(clock.take(at(11), "a", at(9.5)) == Approx(0));
    CHECK(clock.take(at(13), "a", at(10)) == Approx(1.5));
    CHECK(clock.lead_most_s() == Approx(1.5));
    // It is remembered for five to ten minutes in which messages come.
    for (int t_s = 14; t_s <= 700; ++t_s) {
        INFO(t_s);
        const double longer_s = clock.take(at(t_s), "a", at(t_s - 2));
        if (t_s < 310) CHECK(longer_s == Approx(0.5));
        if (t_s > 630) CHECK(longer_s == Approx(0));
    }
    CHECK(clock.lead_most_s() == Approx(2));
    // A silence is not forgetting: the first behind it has waited.
    CHECK(clock.take(at(5000), "a", at(4990)) == Approx(8));
    CHECK(clock.take(at(5000.1), "a", at(4998)) == Approx(0.1));
    // Another clock, perhaps ahead of this one.
    CHECK(clock.take(at(5001), "b", at(5005)) == Approx(0));
    CHECK(clock.lead_most_s() == Approx(-4));
}

TEST_CASE("What came late from another station has the time at which it was received there") {
    constexpr double kBehind_s = 3.2, kOutage_s = 60, kQuickest_s = 0.02;
    const PipelineSetup setup = make_setup(1, {{"hill", "broker:hill/radio", 0}});
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    std::mt19937 random(4);
    double arrived_s = 0, worst_relay_s = 0, least_s = 1e9;
    unsigned made = 0;
    for (double sent_s = kOutage_s; sent_s < 120; sent_s += 0.1) {
        // Everything since the message before, in one; the broker was away at first.
        Relayed times{.link = "hill", .clock = "a", .sent_ns = kStart_ns + seconds_to_ns(sent_s - kBehind_s)};
        std::vector<Bytes> chunks;
        for (; 0.05 * made + 0.005 < sent_s; ++made) {
            times.heard_before_s.push_back(sent_s - (0.05 * made + 0.005));
            chunks.push_back(frame(100, made, 1000 + 50 * made, user_data(Kind::step, made)));
        }
        arrived_s = std::max(arrived_s, sent_s + kQuickest_s + std::exponential_distribution<>(30)(random));
        least_s = std::min(least_s, arrived_s - sent_s);
        const std::int64_t t_ns = kStart_ns + seconds_to_ns(arrived_s);
        pipeline.action(t_ns, times, out);
        for (const Bytes& bytes : chunks) pipeline.chunk(0, t_ns, t_ns, bytes, out);
        if (sent_s < 70) continue;
        pipeline.advance(t_ns, out);
        const double relay_s = column(pipeline, out, "link/hill", "relay_s");
        if (std::isfinite(relay_s)) worst_relay_s = std::max(worst_relay_s, relay_s);
    }
    std::size_t rows = 0;
    double worst_s = 0;
    for (const RowRecord& row : out.rows) {
        if (pipeline.schema().tables[row.table].name != "alpha/step") continue;
        const double made_s = 0.05 * static_cast<double>(rows++);
        worst_s = std::max(worst_s, std::abs(seconds_between(kStart_ns, row.t_ns) - made_s));
    }
    CHECK(rows == made);
    INFO("off by up to " << worst_s << " s");
    CHECK(worst_s < 0.2); // no message of the outage was quicker than those after it
    CHECK(column(pipeline, out, "link/hill", "clock_lead_s") == Approx(kBehind_s + least_s).epsilon(1e-6));
    CHECK(column(pipeline, out, "alpha/estimate/clock", "onboard_zero_bound_s") > worst_s);

    std::vector<double> leads_s;
    for (const Event& event : out.events)
        if (event.id == EventId::site_clock_off)
            for (const EventValue& value : event.values)
                if (value.name == "lead_most_s") leads_s.push_back(std::get<double>(value.value));
    REQUIRE(leads_s.size() == 1);
    CHECK(leads_s[0] == Approx(kBehind_s + kQuickest_s).margin(0.05));
}

TEST_CASE("What two stations received while the broker was away is not a reboot, whichever comes first") {
    constexpr double kOutage_s = 30;
    const PipelineSetup setup = make_setup(1, {{"hill", "broker:hill/radio", 0}, {"lake", "broker:lake/radio", 0}});
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    // All of the outage in one message; the lake heard of every third packet what the hill did not.
    const auto burst = [&](LinkId link, double sent_s, double arrived_s, auto&& heard) {
        Relayed times{.link = setup.links[link].name, .clock = "a", .sent_ns = kStart_ns + seconds_to_ns(sent_s)};
        std::vector<Bytes> chunks;
        for (unsigned k = 0; 0.05 * k + 0.005 < sent_s; ++k) {
            if (!heard(k)) continue;
            times.heard_before_s.push_back(sent_s - (0.05 * k + 0.005));
            chunks.push_back(frame(100, k, 1000 + 50 * k, user_data(Kind::step, k)));
        }
        const std::int64_t t_ns = kStart_ns + seconds_to_ns(arrived_s);
        pipeline.action(t_ns, times, out);
        for (const Bytes& bytes : chunks) pipeline.chunk(link, t_ns, t_ns, bytes, out);
        pipeline.advance(t_ns, out);
    };
    burst(
        0, kOutage_s, kOutage_s + 0.5, [](unsigned k) { return k % 3 != 0; });
    burst(1, kOutage_s, kOutage_s + 2, [](unsigned k) { return k % 3 == 0; });
    for (const Event& event : out.events) {
        CHECK(event.id != EventId::reboot);
        CHECK(event.id != EventId::clock_jump);
    }
    std::size_t late = 0;
    for (const FrameRecord& record : out.frames) late += record.packet_verdict == PacketVerdict::late ? 1 : 0;
    CHECK(late == 200);
}

TEST_CASE("What was heard here is known again in another station's copies, however long the broker was away") {
    constexpr double kOutage_s = 600, kPeriod_s = 0.03; // more packets than a sequence count tells apart
    const PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}, {"hill", "broker:hill/radio", 0}});
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    const auto bytes_of = [](unsigned k) { return frame(100, k, 1000 + 30 * k, user_data(Kind::step, k)); };
    const auto is_lost = [](unsigned k) { return k % 50 == 7; };
    unsigned made = 0;
    Relayed times{.link = "hill", .clock = "a", .sent_ns = kStart_ns + seconds_to_ns(kOutage_s)};
    for (; kPeriod_s * made < kOutage_s; ++made) {
        const std::int64_t t_ns = kStart_ns + seconds_to_ns(kPeriod_s * made + 0.005);
        if (!is_lost(made)) pipeline.chunk(0, t_ns, t_ns, bytes_of(made), out);
        times.heard_before_s.push_back(kOutage_s - kPeriod_s * made - 0.005);
    }
    REQUIRE(made > 16384);
    const std::int64_t t_ns = kStart_ns + seconds_to_ns(kOutage_s + 1);
    pipeline.action(t_ns, times, out);
    for (unsigned k = 0; k < made; ++k) pipeline.chunk(1, t_ns, t_ns, bytes_of(k), out);

    std::vector<unsigned> rows(made);
    const Table& table = table_named(pipeline.schema(), "alpha/step");
    for (const RowRecord& row : out.rows)
        if (row.table == table.id) ++rows.at(static_cast<std::size_t>(out.numbers_of(row, table)[0]));
    CHECK(std::ranges::count(rows, 1U) == made);
    std::size_t late = 0;
    for (const FrameRecord& record : out.frames) late += record.packet_verdict == PacketVerdict::late ? 1 : 0;
    CHECK(late == made / 50);
}

TEST_CASE("Times of a link that is not there, or of chunks that do not come, do no harm") {
    const PipelineSetup setup = make_setup(1, {{"hill", "broker:hill/radio", 0}});
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    const std::int64_t t_ns = kStart_ns + kNsPerS;
    pipeline.action(t_ns, Relayed{.link = "nowhere", .clock = "a", .sent_ns = t_ns, .heard_before_s = {1}}, out);
    pipeline.action(t_ns, Relayed{.link = "hill", .clock = "a", .sent_ns = t_ns, .heard_before_s = {1e300, -5, 1}},
                    out);
    for (unsigned k = 0; k < 2; ++k)
        pipeline.chunk(0, t_ns, t_ns, frame(100, k, 1000 + 50 * k, user_data(Kind::step, k)), out);
    pipeline.action(t_ns, Relayed{.link = "hill", .clock = "a", .sent_ns = t_ns, .heard_before_s = {}}, out);
    pipeline.chunk(0, t_ns, t_ns, frame(100, 2, 1100, user_data(Kind::step, 2)), out);
    pipeline.advance(t_ns + kNsPerS, out);
    std::size_t rows = 0;
    for (const RowRecord& row : out.rows) rows += pipeline.schema().tables[row.table].name == "alpha/step" ? 1 : 0;
    CHECK(rows == 3);
}
