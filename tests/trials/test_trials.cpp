// Whole flights, from the transmitter's octets to the estimates, against the simulator's truth (why that is
// evidence: tools/trials/trial.hpp). TURNSTONE_FLIGHTS=500 flies the full set, and then the shares over all
// moments are held to the limits themselves. At one moment chance alone moves the share of 500 by more than
// one per cent.
#include <catch2/catch.hpp>

#include <cmath>
#include <cstdlib>

#include "tools/trials/trial.hpp"

using namespace turnstone;
using namespace turnstone::trials;

namespace {

int flights() {
    const char* wish = std::getenv("TURNSTONE_FLIGHTS");
    return wish != nullptr ? std::max(1, std::atoi(wish)) : 24;
}

struct Share {
    int hits = 0, all = 0;
    void add(bool hit) {
        hits += hit;
        ++all;
    }
};

/// The share of hits lies within the limits, or within what chance does to so few (3.5 sigma of the
/// binomial).
void check_share(const std::string& what, const Share& share, double low, double high) {
    const double found = static_cast<double>(share.hits) / share.all;
    const double chance = 3.5 * std::sqrt(low * (1 - low) / share.all);
    UNSCOPED_INFO(what << ": " << share.hits << " of " << share.all);
    CHECK(found >= low - chance);
    CHECK(found <= high + chance);
}

/// The full set is held to the limits themselves.
void check_full_share(const Share& share, double low, double high) {
    const double found = static_cast<double>(share.hits) / share.all;
    CHECK((flights() < 500 || (found >= low && found <= high)));
}

} // namespace

TEST_CASE("predictions hold the truth as often as they say, and are close two seconds after burn-out") {
    const auto scores = run_trials(trial_scenario("nominal", "clean"), 1, flights());
    Share apogees;
    for (std::size_t k = 0; k < kInstants; ++k) {
        const auto instant = static_cast<Instant>(k);
        Share apogee, landing;
        double worst = 0;
        for (const TrialScore& score : scores) {
            const PredictionScore& p = score.predictions[k];
            if (instant < Instant::apogee) {
                REQUIRE(std::isfinite(p.apogee_error_m));
                apogee.add(p.apogee_inside);
                apogees.add(p.apogee_inside);
                worst = std::max(worst, std::abs(p.apogee_error_m) / score.true_apogee_m);
            }
            REQUIRE(std::isfinite(p.miss_m));
            landing.add(p.landing_inside);
        }
        if (instant < Instant::apogee) check_share("apogee, " + instant_words(instant), apogee, 0.85, 0.95);
        if (instant >= Instant::apogee) {
            check_share("landing, " + instant_words(instant), landing, 0.90, 0.98);
            check_full_share(landing, 0.90, 0.98);
        }
        if (instant == Instant::two_after_burn_out) CHECK(worst < 0.03);
    }
    check_full_share(apogees, 0.85, 0.95);
}

TEST_CASE("a canopy that does not open is left out of the landing once its time is past") {
    const auto scores = run_trials(trial_scenario("ballistic", "clean"), 1, 4);
    for (const TrialScore& score : scores) {
        const auto of = [&](Instant instant) { return score.predictions[static_cast<std::size_t>(instant)]; };
        // At apogee the charges may still fire; ten seconds before impact they have not.
        CHECK(of(Instant::apogee).miss_m > 200);
        CHECK(of(Instant::ten_before_landing).miss_m < 120);
        CHECK_FALSE(score.moments[static_cast<std::size_t>(Moment::drogue_deployment)].happened);
        CHECK(score.moments[static_cast<std::size_t>(Moment::drogue_deployment)].found == 0);
    }
}

TEST_CASE("tethered charges are found and nothing flies") {
    const auto scores = run_trials(trial_scenario("separation-test", "clean"), 1, 4);
    for (const TrialScore& score : scores) {
        CHECK(score.charges == 2);
        CHECK(score.blows == score.charges);
        CHECK(score.shocks >= score.charges);
        for (const MomentScore& moment : score.moments) CHECK(moment.found == 0);
    }
}
