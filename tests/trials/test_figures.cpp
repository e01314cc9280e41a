// Figures that people cheer and log books get: maxima and apogee, with a link that stalls, and the filter's own health
// through the charges.
#include <catch2/catch.hpp>

#include <cmath>
#include <map>
#include <memory>

#include "server/pipeline/station/pipeline.hpp"
#include "shared/time.hpp"
#include "tools/sim/fly.hpp"
#include "tools/trials/trial.hpp"
#include "tools/trials/trial_case.hpp"

using namespace turnstone;
using namespace turnstone::trials;

namespace {

constexpr std::int64_t kFigures_ns = 1'790'000'000 * kNsPerS;

struct FlownFigures {
    sim::Truth truth;
    std::map<std::string, double> last;            ///< "derived altitude_max_m": of the newest row
    std::map<std::string, double> least, greatest; ///< from liftoff on
    std::vector<Event> events;

    [[nodiscard]] std::size_t count(EventId id) const {
        return static_cast<std::size_t>(std::ranges::count(events, std::optional(id), &Event::id));
    }
};

/// The bytes of `stall_s` seconds from `from_s` on come together at their end.
FlownFigures flown(const std::string& scenario_name, std::uint64_t seed, double after_liftoff_s, double stall_s,
                   const std::string& radio = "clean") {
    const sim::Scenario scenario = scenario_of({.scenario = scenario_name, .radio = radio, .errors = "acceptance"});
    const sim::FlightResult flight = sim::fly(scenario, seed);
    const PipelineSetup setup = trial_setup(scenario);
    Pipeline pipeline(setup, kFigures_ns);
    pipeline.set_prediction_period(kInfinity);
    FlownFigures out{flight.truth, {}, {}, {}, {}};
    const double from_s = flight.truth.events.liftoff_s + after_liftoff_s;
    Batch batch;
    const auto take = [&] {
        for (const RowRecord& row : batch.rows) {
            const Table& table = pipeline.schema().tables[row.table];
            if (table.kind != TableKind::estimate) continue;
            const std::string stem = table.name.substr(table.name.rfind('/') + 1) + " ";
            for (std::size_t c = 0; c < table.number_count; ++c) {
                const double value = batch.numbers_of(row, table)[c];
                if (!std::isfinite(value)) continue;
                const std::string name = stem + table.columns[c].name;
                out.last[name] = value;
                if (row.t_ns < kFigures_ns + seconds_to_ns(flight.truth.events.liftoff_s)) continue;
                out.least.try_emplace(name, value).first->second = std::min(out.least[name], value);
                out.greatest.try_emplace(name, value).first->second = std::max(out.greatest[name], value);
            }
        }
        std::move(batch.events.begin(), batch.events.end(), std::back_inserter(out.events));
        batch.clear();
    };
    for (const sim::Delivery& delivery : flight.received.deliveries) {
        const bool held = delivery.t_end_s > from_s && delivery.t_end_s < from_s + stall_s;
        const std::int64_t t_ns = kFigures_ns + seconds_to_ns(held ? from_s + stall_s : delivery.t_end_s);
        pipeline.chunk(0, t_ns, t_ns,
                       std::as_bytes(std::span(flight.received.bytes).subspan(delivery.offset, delivery.size)), batch);
        take();
    }
    pipeline.advance(kFigures_ns + seconds_to_ns(flight.truth.samples.back().t_s + 20), batch);
    take();
    return out;
}

double greatest_up_mps(const sim::Truth& truth) {
    double greatest = 0;
    for (const sim::TruthSample& sample : truth.samples) greatest = std::max(greatest, sample.velocity_enu_mps.z());
    return greatest;
}

} // namespace

TEST_CASE("maxima and apogee are of what was measured, with their sigma, however the bytes come") {
    struct Stall {
        double after_liftoff_s, stall_s;
    };
    for (const Stall& stall : {Stall{0.9, 0.0}, Stall{0.9, 3.0}, Stall{4.0, 4.0}, Stall{12.0, 5.0}}) {
        const FlownFigures flight = flown("nominal", 5000, stall.after_liftoff_s, stall.stall_s);
        INFO("stall of " << stall.stall_s << " s, " << stall.after_liftoff_s << " s after liftoff");
        const double apogee_m = flight.truth.events.apogee_m;
        const double altitude_m = flight.last.at("derived altitude_max_m");
        const double sigma_m = flight.last.at("derived altitude_max_m_sigma");
        CHECK(sigma_m > 0);
        CHECK(sigma_m < 15);
        CHECK(std::abs(altitude_m - apogee_m) < 3 * sigma_m);
        CHECK(std::abs(altitude_m - apogee_m) < 15);
        const double up_mps = greatest_up_mps(flight.truth);
        CHECK(flight.last.at("derived vertical_speed_max_mps") == Approx(up_mps).margin(6));
        CHECK(flight.last.at("derived vertical_speed_max_mps_sigma") < 6);
        for (const char* other : {"mach_max", "force_max_mps2", "dynamic_pressure_max_pa", "roll_rate_max_radps"})
            CHECK(flight.last.at("derived " + std::string(other) + "_sigma") > 0);
        const auto apogee = std::ranges::find(flight.events, std::optional(EventId::apogee), &Event::id);
        REQUIRE(apogee != flight.events.end());
        double told_m = NAN;
        for (const EventValue& value : apogee->values)
            if (value.name == "altitude_m") told_m = std::get<double>(value.value);
        CHECK(std::abs(told_m - apogee_m) < 20);
        CHECK(flight.count(EventId::signal_lost) == 0);
    }
}

TEST_CASE("charges do not make the vertical filter distrust itself in a good flight") {
    for (std::uint64_t seed = 5000; seed < 5003; ++seed) {
        const FlownFigures flight = flown("nominal", seed, 0, 0);
        INFO("seed " << seed);
        CHECK(flight.greatest.at("vertical health") < 4); // "do not trust"
        CHECK(flight.count(EventId::signal_lost) == 0);
    }
}

TEST_CASE("nothing is predicted below the ground, and the last good place outlasts the flight") {
    CHECK(flown("ballistic", 5000, 0, 0).least.at("vertical altitude_m") > -10); // silent since it hit
    const FlownFigures flight = flown("nominal", 5000, 0, 0);
    const Eigen::Vector3d lies_m = flight.truth.samples.back().position_enu_m;
    CHECK(flight.last.at("last_place east_m") == Approx(lies_m.x()).margin(6));
    CHECK(flight.last.at("last_place north_m") == Approx(lies_m.y()).margin(6));
}

TEST_CASE("where it lies is known once the receiver has a fix again, though the attitude was lost on the way") {
    for (std::uint64_t seed = 5000; seed < 5004; ++seed) {
        const FlownFigures flight = flown("gnss-loss", seed, 0, 0, "rough");
        INFO("seed " << seed);
        const Eigen::Vector3d lies_m = flight.truth.samples.back().position_enu_m;
        CHECK(flight.last.at("last_place east_m") == Approx(lies_m.x()).margin(10));
        CHECK(flight.last.at("last_place north_m") == Approx(lies_m.y()).margin(10));
    }
}
