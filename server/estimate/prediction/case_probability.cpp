#include "server/estimate/prediction/case_probability.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace turnstone::estimate {

namespace {

constexpr double kRecognised_s = 2.0; ///< from ejection to a phase that says so
constexpr double kRecognisedSigma_s = 0.5;
constexpr double kRateScatter = 0.2;
/// Times the fall rate that a parachute is made for, at which half of them tear, and the scatter of its logarithm:
/// loads go with its square, and little is sewn for more than six times (common practice, no source).
constexpr double kTears = 2.5;
constexpr double kTearsScatter = 0.25;
constexpr double kSlowMach = 0.3; ///< for the drag of a fall
/// Below this a case is ruled out: it would be drawn for nothing.
constexpr double kRuledOut = 1e-3;

/// Probability that a standard normal value exceeds `x`.
double above(double x) {
    return 0.5 * std::erfc(x / std::numbers::sqrt2);
}

/// Probability that a working parachute has not been seen `past_s` after its moment.
double still_unseen(const RocketModel& rocket, std::size_t parachute, double past_s) {
    const double due_s = rocket.parachutes[parachute].opens_after_s + kRecognised_s;
    return above((past_s - due_s) / std::hypot(kRecognisedSigma_s, rocket.scatter.opening_delay_s));
}

/// At which drag equals weight.
double steady_mps(const RocketModel& rocket, const DescentSeen& seen, double drag_area_m2) {
    return std::sqrt(2 * rocket.mass_dry_kg * seen.gravity_mps2 / (seen.density_kg_m3 * drag_area_m2));
}

/// Likelihood of the descent rate where another is expected, up to a factor common to all.
double rate_likelihood(const DescentSeen& seen, double expected_mps) {
    const double off = std::log(seen.descent_mps / expected_mps) / kRateScatter;
    return std::exp(-0.5 * std::min(off * off, 100.0));
}

double hanging_likelihood(const RocketModel& rocket, const DescentSeen& seen, double drag_area_m2) {
    if (!(seen.descent_mps > 0) || !(drag_area_m2 > 0)) return 1;
    return rate_likelihood(seen, steady_mps(rocket, seen, drag_area_m2));
}

/// Of a fall without any parachute since apogee; a rate that is not known speaks against it, since the phase does.
double falling_likelihood(const RocketModel& rocket, const DescentSeen& seen) {
    if (!(seen.descent_mps > 0) || !(seen.since_apogee_s > 0)) return 0;
    const double body_m2 = rocket.reference_area_m2 * rocket.drag_coefficient.at(kSlowMach);
    const double steady = steady_mps(rocket, seen, body_m2);
    return rate_likelihood(seen, steady * std::tanh(seen.gravity_mps2 * seen.since_apogee_s / steady));
}

/// A second parachute that opens in a fall much faster than it is made for does not hold: then there is none.
void tear(const RocketModel& rocket, const DescentSeen& seen, ByLandingCase<double>& p) {
    using enum LandingCaseKind;
    if (!(seen.descent_mps > 0) || !(seen.density_kg_m3 > 0)) return;
    const double made_for_mps = steady_mps(rocket, seen, rocket.parachutes[0].drag_area_m2);
    const double torn = p[drogue_fails] * above(std::log(kTears * made_for_mps / seen.descent_mps) / kTearsScatter);
    p[drogue_fails] -= torn;
    p[no_parachute] += torn;
}

ByLandingCase<double> prior_of(const RocketModel& rocket) {
    using enum LandingCaseKind;
    ByLandingCase<double> p;
    const FailureProbabilities& fails = rocket.failures;
    if (rocket.parachutes.empty()) {
        p[nominal] = 1;
        return p;
    }
    const bool two = rocket.parachutes.size() > 1;
    p[late_opening] = fails.late_opening;
    p[drogue_fails] = two ? fails.drogue_fails : 0;
    p[main_fails] = two ? fails.main_fails : 0;
    p[main_at_apogee] = two ? fails.main_at_apogee : 0;
    p[no_parachute] = two ? fails.both_fail : fails.drogue_fails;
    double failing = 0;
    for (const LandingCaseWords& one : kLandingCases) failing += p[one.value];
    p[nominal] = std::max(0.0, 1 - failing);
    return p;
}

void fall_unopened(const RocketModel& rocket, const DescentSeen& seen, ByLandingCase<double>& p) {
    using enum LandingCaseKind;
    if (rocket.parachutes.empty()) return;
    const double first = still_unseen(rocket, 0, seen.since_apogee_s);
    p[nominal] *= first;
    p[main_fails] *= first;
    p[main_at_apogee] *= first;
    const double late_s = std::max(0.0, seen.since_apogee_s - rocket.parachutes[0].opens_after_s - kRecognised_s);
    p[late_opening] *= std::max(first, std::exp(-late_s / kLate_s));
    if (rocket.parachutes.size() < 2) return;
    tear(rocket, seen, p);
    if (seen.below_second_s <= 0) return;
    const double second = still_unseen(rocket, 1, seen.below_second_s);
    p[drogue_fails] *= second;
    p[late_opening] *= second; // by now its main would be out
}

void hang(const RocketModel& rocket, const DescentSeen& seen, ByLandingCase<double>& p) {
    using enum LandingCaseKind;
    p[late_opening] = 0; // from here it lands as nominal does
    // What was taken for an opening may have been a charge that opened nothing: the fall rate tells.
    const double by_none = falling_likelihood(rocket, seen);
    p[drogue_fails] *= by_none;
    p[no_parachute] *= by_none;
    if (rocket.parachutes.empty()) return;
    const double first_m2 = rocket.parachutes[0].drag_area_m2;
    const double by_first = hanging_likelihood(rocket, seen, first_m2);
    p[nominal] *= by_first;
    if (rocket.parachutes.size() < 2) return;
    p[main_fails] *= by_first;
    p[main_at_apogee] *= hanging_likelihood(rocket, seen, first_m2 + rocket.parachutes[1].drag_area_m2);
    tear(rocket, seen, p);
    if (seen.below_second_s <= 0) return;
    const double second = still_unseen(rocket, 1, seen.below_second_s);
    p[nominal] *= second;
    p[drogue_fails] *= second;
}

} // namespace

ByLandingCase<double> case_probability(const RocketModel& rocket, const DescentSeen& seen) {
    ByLandingCase<double> p = prior_of(rocket);
    switch (seen.phase) {
    case Phase::falling: fall_unopened(rocket, seen, p); break;
    case Phase::under_drogue: hang(rocket, seen, p); break;
    case Phase::under_main:
        p = {};
        p[LandingCaseKind::nominal] = 1;
        break;
    default: break;
    }
    const auto sum_of = [&p] {
        double sum = 0;
        for (const LandingCaseWords& one : kLandingCases) sum += p[one.value];
        return sum;
    };
    const double sum = sum_of();
    if (!(sum > 0)) { // a file that allows no failure, and a flight that shows one
        p[seen.phase == Phase::falling ? LandingCaseKind::no_parachute : LandingCaseKind::main_fails] = 1;
        return p;
    }
    for (const LandingCaseWords& one : kLandingCases)
        if (p[one.value] < kRuledOut * sum) p[one.value] = 0;
    const double left = sum_of();
    for (const LandingCaseWords& one : kLandingCases) p[one.value] /= left;
    return p;
}

LandingCaseKind likeliest(const ByLandingCase<double>& probability) {
    LandingCaseKind found = LandingCaseKind::nominal;
    for (const LandingCaseWords& one : kLandingCases)
        if (probability[one.value] > probability[found]) found = one.value;
    return found;
}

} // namespace turnstone::estimate
