// The stand: what each fault of a charge changes, and that nothing else does.
#include "tests/sim/support.hpp"

using namespace turnstone;
using namespace turnstone::sim;

namespace {

Truth on_the_stand(ChargeFault fault, std::uint64_t seed) {
    Scenario scenario = demo_scenario("separation-test");
    scenario.charge_fault = fault;
    FlightSetup setup = make_setup(scenario, seed);
    setup.ignition_s = 0.5;
    return run_truth(setup, RunKind::tethered, 2.0, 0.0);
}

double farthest_axial(const Firing& firing) {
    double farthest = 0;
    for (const FiringSample& sample : firing.samples) farthest = std::max(farthest, std::abs(sample.axial_mps2));
    return farthest;
}

double deepest_sag(const Firing& firing) {
    double deepest = 0;
    for (const FiringSample& sample : firing.samples) deepest = std::max(deepest, sample.battery_sag_v);
    return deepest;
}

} // namespace

TEST_CASE("A charge on the stand lights, opens the lid and runs the line out, in that order") {
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        INFO("seed " << seed);
        const Truth truth = on_the_stand(ChargeFault::none, seed);
        REQUIRE(truth.firings.size() == 2);
        const Firing& firing = truth.firings.front();
        CHECK(firing.samples.size() >= 299);
        CHECK(firing.samples.size() <= 301);
        CHECK(firing.pulse_begins_s > 0);
        CHECK(firing.pulse_begins_s < firing.lid_off_s);
        CHECK(firing.lid_off_s < firing.line_taut_s);
        // Within 2.5 sigmas of 118 m/s2, less what a millisecond's mean takes off, with some ringing.
        CHECK(farthest_axial(firing) > 90);
        CHECK(farthest_axial(firing) < 150);
        CHECK(deepest_sag(firing) == Approx(0.42).margin(0.08));
        CHECK(truth.samples.back().bay_over_pa < 40);
    }
}

TEST_CASE("Impulse: the bay's speed after the release is the integral of its acceleration") {
    const Truth truth = on_the_stand(ChargeFault::none, 3);
    double speed_mps = 0, farthest = 0;
    for (const TruthSample& sample : truth.samples) {
        if (sample.t_s > truth.firings[0].t_s + 0.04) break;
        const Eigen::Vector3d nose = sample.q_local_body * Eigen::Vector3d::UnitX();
        const Eigen::Vector3d force_enu = sample.q_local_body * sample.specific_force_body_mps2;
        speed_mps += (force_enu.x() * nose.x() + force_enu.y() * nose.y()) * kTruthStep_s;
        farthest = std::max(farthest, std::abs(speed_mps - sample.velocity_enu_mps.dot(nose)));
    }
    CHECK(std::abs(speed_mps) > 0.2);
    CHECK(farthest < 0.03);
}

TEST_CASE("Each fault of a charge shows where it should") {
    const auto first = [](ChargeFault fault) { return on_the_stand(fault, 5).firings.front(); };
    const Firing good = first(ChargeFault::none);
    const Firing dud = first(ChargeFault::does_not_light);
    CHECK(std::isnan(dud.pulse_begins_s));
    CHECK(farthest_axial(dud) < 1);
    CHECK(deepest_sag(dud) == deepest_sag(good)); // its igniter burns
    const Firing late = first(ChargeFault::lights_late);
    CHECK(late.pulse_begins_s > 0.05);
    CHECK(late.lid_off_s - late.pulse_begins_s == Approx(good.lid_off_s - good.pulse_begins_s));
    const Firing stuck = first(ChargeFault::lid_stuck);
    CHECK(std::isnan(stuck.lid_off_s));
    CHECK(std::isnan(stuck.line_taut_s));
    CHECK(farthest_axial(stuck) < 12);
    CHECK(farthest_axial(first(ChargeFault::hard)) > 160);
    CHECK(std::isnan(first(ChargeFault::no_parachute).line_taut_s));
    const Firing snag = first(ChargeFault::line_snags);
    CHECK(snag.line_taut_s - snag.lid_off_s < 0.012);
    CHECK(deepest_sag(first(ChargeFault::weak_battery)) > 1.4);
    CHECK(deepest_sag(first(ChargeFault::brown_out)) > 2.4);
    // The second charge is a good one.
    for (const ChargeFault fault : {ChargeFault::does_not_light, ChargeFault::lid_stuck, ChargeFault::hard})
        CHECK(std::isfinite(on_the_stand(fault, 5).firings.back().line_taut_s));
}
