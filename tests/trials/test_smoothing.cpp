// Simulated flights gone over twice: better than the filter, and as good as stated. Seeds from 5000 with the error set
// "acceptance", which nothing was tuned on. TURNSTONE_FLIGHTS=100 runs the full set.
#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <cstdlib>

#include "tests/trials/debriefed.hpp"

using namespace turnstone;
using namespace turnstone::debrief_test;

namespace {

struct SmoothedScore {
    trials::Errors filter, both;
    int worse = 0; ///< steps stated worse than the filter's
};

constexpr std::array kJudged{"altitude_m", "vertical_speed_mps", "acceleration_mps2", "east_m",
                             "north_m",    "velocity_east_mps",  "velocity_north_mps"};
using SmoothedScores = std::array<SmoothedScore, kJudged.size()>;

double true_value(const sim::TruthSample& truth, std::string_view key) {
    if (key == "altitude_m") return truth.position_enu_m.z();
    if (key == "vertical_speed_mps") return truth.velocity_enu_mps.z();
    if (key == "east_m") return truth.position_enu_m.x();
    if (key == "north_m") return truth.position_enu_m.y();
    if (key == "velocity_east_mps") return truth.velocity_enu_mps.x();
    if (key == "velocity_north_mps") return truth.velocity_enu_mps.y();
    return kNaN; // accelerations under a motor are not those of one moment
}

SmoothedScores scores_of(const Debriefed& flight) {
    SmoothedScores scores;
    for (const debrief::SmoothedSeries& series : flight.smoothed)
        for (std::size_t q = 0; q < kJudged.size(); ++q) {
            if (series.key != std::string_view(kJudged[q])) continue;
            for (std::size_t i = 0; i < series.t_ns.size(); ++i) {
                scores[q].worse += series.sigma[i] > series.filter_sigma[i] * (1 + 1e-6);
                const double truth = true_value(flight.truth_at(series.t_ns[i]), series.key);
                scores[q].filter.add(series.filter_value[i] - truth, series.filter_sigma[i]);
                scores[q].both.add(series.value[i] - truth, series.sigma[i]);
            }
        }
    return scores;
}

} // namespace

TEST_CASE("flights smoothed from both sides are nearer to the truth, and as near as they say") {
    const int count = flights_or(6);
    std::vector<SmoothedScores> each(static_cast<std::size_t>(count));
    const sim::Scenario scenario =
        trials::trial_scenario("nominal", "mild", first_seed() < 1000 ? "tuning" : "acceptance");
    for_each_debriefed(scenario, first_seed(), count,
                       [&](std::size_t k, const Debriefed& flight) { each[k] = scores_of(flight); });
    for (std::size_t q = 0; q < kJudged.size(); ++q) {
        SmoothedScore all;
        for (const SmoothedScores& one : each) {
            all.filter.add(one[q].filter);
            all.both.add(one[q].both);
            all.worse += one[q].worse;
        }
        CAPTURE(kJudged[q], count, all.filter.rms(), all.both.rms(), all.filter.normalised_square(),
                all.both.normalised_square(), all.worse);
        if (std::getenv("TURNSTONE_FLIGHTS") != nullptr)
            WARN(kJudged[q] << ": rms " << all.filter.rms() << " filter, " << all.both.rms()
                            << " smoothed; normalised square " << all.filter.normalised_square() << " filter, "
                            << all.both.normalised_square() << " smoothed; stated worse " << all.worse);
        CHECK(all.worse == 0);
        if (all.both.count == 0) continue;
        CHECK(all.both.rms() <= all.filter.rms());
        // Errors of one flight are alike: the mean of a few flights wanders far from 1.
        CHECK(all.both.normalised_square() < 2.5);
        CHECK(all.both.normalised_square() > 0.2);
    }
}
