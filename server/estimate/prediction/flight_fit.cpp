#include "server/estimate/prediction/flight_fit.hpp"

#include <cmath>

namespace turnstone::estimate {

namespace {

constexpr double kThrustShape =
    0.03; // of the level of a part of the burn, at the same impulse; common practice, no source
constexpr double kShaken_mps2 = 4.0; // running motor
constexpr double kQuiet_mps2 = 0.6;
constexpr double kSlowest_mps = 35; // below it drag is lost in the accelerometer's bias
// A parachute breathes and swings: descent rates within a second are not independent.
constexpr double kSamplesAlike = 25;

double level_sigma(const FlightScatter& scatter) {
    return std::hypot(scatter.thrust, scatter.burn_time, kThrustShape);
}

} // namespace

Factor impulse_at(double thrust, const FlightScatter& scatter) {
    const double share = std::pow(scatter.thrust / level_sigma(scatter), 2);
    return {1 + share * (thrust - 1), scatter.thrust * std::sqrt(1 - share)};
}

FlightFit::FlightFit(const RocketModel& rocket) : rocket_(&rocket) {
    reset();
}

void FlightFit::reset() {
    const FlightScatter& scatter = rocket_->scatter;
    thrust_ = {1, level_sigma(scatter)};
    drag_ = {1, scatter.drag};
    parachutes_ = {Factor{1, scatter.parachute_drag_area}, Factor{1, scatter.parachute_drag_area}};
}

void FlightFit::take(Factor& factor, double value, double sigma) {
    if (!std::isfinite(value) || !(sigma > 0)) return;
    const double gain = factor.sigma * factor.sigma / (factor.sigma * factor.sigma + sigma * sigma);
    factor.value += gain * (value - factor.value);
    factor.sigma *= std::sqrt(1 - gain);
}

Factor FlightFit::with_floor(Factor factor, double floor) {
    return {factor.value, std::hypot(factor.sigma, floor)};
}

void FlightFit::burning(double axial_mps2, double since_ignition_s, double speed_mps, double density_kg_m3,
                        double mach) {
    const double burn_s = rocket_->burn_time_s();
    // Ignition and tail-off shift with the time scale of the burn, the plateau does not.
    if (since_ignition_s < 0.15 * burn_s || since_ignition_s > 0.8 * burn_s) return;
    const double mass_kg = rocket_->mass_kg(since_ignition_s);
    const double thrust_n = rocket_->thrust_n.at(since_ignition_s);
    const double drag_n = 0.5 * density_kg_m3 * speed_mps * speed_mps * rocket_->reference_area_m2 *
                          rocket_->drag_coefficient.at(mach) * drag_.value;
    if (thrust_n > 0) take(thrust_, (axial_mps2 * mass_kg + drag_n) / thrust_n, kShaken_mps2 * mass_kg / thrust_n);
}

void FlightFit::coasting(double axial_mps2, double speed_mps, double speed_sigma_mps, double density_kg_m3,
                         double mach) {
    if (!(speed_mps > kSlowest_mps)) return;
    const double expected_mps2 = 0.5 * density_kg_m3 * speed_mps * speed_mps * rocket_->reference_area_m2 *
                                 rocket_->drag_coefficient.at(mach) / rocket_->mass_dry_kg;
    if (expected_mps2 > 0) {
        // The speed's error is the same from sample to sample: it counts as if each of 50 samples had it alone.
        const double alike = 2 * speed_sigma_mps / speed_mps * std::sqrt(50.0);
        take(drag_, -axial_mps2 / expected_mps2, std::hypot(kQuiet_mps2 / expected_mps2, alike));
    }
}

void FlightFit::hanging(std::size_t parachute, double descent_mps, double descent_sigma_mps, double density_kg_m3,
                        double gravity_mps2) {
    if (parachute >= rocket_->parachutes.size() || parachute > 1 || !(descent_mps > 1)) return;
    double area_m2 = 2 * rocket_->mass_dry_kg * gravity_mps2 / (density_kg_m3 * descent_mps * descent_mps);
    if (parachute == 1) area_m2 -= rocket_->parachutes[0].drag_area_m2 * parachutes_[0].value;
    const double sigma = (0.08 + 2 * descent_sigma_mps / descent_mps) * std::sqrt(kSamplesAlike);
    take(parachutes_[parachute], area_m2 / rocket_->parachutes[parachute].drag_area_m2, sigma);
}

} // namespace turnstone::estimate
