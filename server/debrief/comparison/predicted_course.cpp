#include "server/debrief/comparison/predicted_course.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <string>

#include "server/analysis/ensemble/resample.hpp"
#include "server/estimate/prediction/trajectories.hpp"
#include "shared/atmosphere.hpp"
#include "shared/time.hpp"

namespace turnstone::debrief {

namespace {

using namespace estimate;

constexpr double kRadiansPerDegree = std::numbers::pi / 180;
constexpr double kStep_s = 0.1;
constexpr double kLongest_s = 1200;
/// Before the first movement can have told of the flight.
constexpr std::int64_t kBeforeNs = kNsPerS;
/// The wind in use is known to about this at the heights that the landing's rows say; it is what they said.
constexpr double kRowWindSigma_mps = 0.1;

/// What differs from the files, one of it by one sigma in each lane.
enum Lane : int { kNominal, kThrust, kBurnTime, kDrag, kMass, kLean, kParachute, kDelay };
static_assert(kDelay + 1 == kLanes);

DayAtmosphere air_on_rail(const Recorded& recorded, std::size_t vehicle, std::int64_t t_ns) {
    const Site& site = recorded.setup().site;
    PadReference pad;
    pad.height_msl_m = site.pad.height_m - site.geoid_height_m;
    pad.latitude_deg = site.pad.latitude_deg;
    const AirState standard = standard_atmosphere(geopotential_from_geometric_m(pad.height_msl_m));
    pad.pressure_pa = site.pad_pressure_pa.value_or(standard.pressure_pa);
    pad.temperature_k = site.pad_temperature_k.value_or(standard.temperature_k);
    if (!site.temperature.empty())
        pad.profile = std::make_shared<const std::vector<TemperatureLayer>>(site.temperature);
    if (const auto row = recorded.row_at(recorded.table(vehicle, "estimate/air"), t_ns)) {
        const double density_kg_m3 = row->value("density_kg_m3"), temperature_k = row->value("temperature_k");
        if (std::isfinite(density_kg_m3) && std::isfinite(temperature_k)) {
            pad.temperature_k = temperature_k;
            pad.pressure_pa = density_kg_m3 * kGasConstantAir_j_per_kg_k * temperature_k;
        }
    }
    return DayAtmosphere(pad);
}

WindProfile wind_in_use(const Recorded& recorded, std::size_t vehicle, std::int64_t t_ns) {
    WindProfile wind(recorded.setup().site);
    const auto row = recorded.row_at(recorded.table(vehicle, "estimate/landing"), t_ns);
    if (!row) return wind;
    for (const int height_m : {0, 300, 1000}) {
        const std::string stem = "wind_" + std::to_string(height_m) + "m_";
        const double speed_mps = row->value(stem + "mps"), from = row->value(stem + "from_deg") * kRadiansPerDegree;
        if (std::isfinite(speed_mps) && std::isfinite(from))
            wind.measure(height_m, -speed_mps * Eigen::Vector2d(std::sin(from), std::cos(from)), kRowWindSigma_mps);
    }
    return wind;
}

FlightBlock on_the_rail(const FlightConditions& conditions, const Site& site, const WindProfile& wind) {
    const RocketModel& rocket = *conditions.rocket;
    const FlightScatter& scatter = rocket.scatter;
    FlightBlock b;
    b.thrust_scale = b.burn_scale = b.drag_scale = b.mass_scale = b.stiffness_scale = Lanes::Ones();
    b.thrust_east = b.thrust_north = b.delay_scale_s = b.late_s = Lanes::Zero();
    b.thrust_scale(kThrust) = 1 + scatter.thrust;
    b.burn_scale(kBurnTime) = 1 + scatter.burn_time;
    b.thrust_scale(kBurnTime) = 1 / b.burn_scale(kBurnTime);
    b.drag_scale(kDrag) = 1 + scatter.drag;
    b.mass_scale(kMass) = 1 + scatter.mass_dry;
    b.delay_scale_s(kDelay) = scatter.opening_delay_s;
    for (std::size_t k = 0; k < b.parachute_m2.size(); ++k) {
        const double area_m2 = k < rocket.parachutes.size() ? rocket.parachutes[k].drag_area_m2 : 0;
        b.parachute_m2[k] = Lanes::Constant(area_m2);
        b.parachute_m2[k](kParachute) *= 1 + scatter.parachute_drag_area;
    }
    b.wind_east.rowwise() = wind.east_mps().transpose();
    b.wind_north.rowwise() = wind.north_mps().transpose();
    const double azimuth = site.launch_azimuth_deg.value_or(0) * kRadiansPerDegree;
    Lanes tilt = Lanes::Constant(site.launch_tilt_deg * kRadiansPerDegree);
    tilt(kLean) += scatter.rail_tilt_rad;
    leave_rail(conditions, b, tilt.sin() * std::sin(azimuth), tilt.sin() * std::cos(azimuth), tilt.cos());
    return b;
}

/// The lanes' own courses, each with its own times: those that have arrived stand still.
struct Courses {
    std::array<std::vector<double>, kLanes> t_s, z_m, vz_mps;

    void take(const FlightBlock& b) {
        for (int k = 0; k < kLanes; ++k) {
            const auto lane = static_cast<std::size_t>(k);
            if (!t_s[lane].empty() && !(b.t_s(k) > t_s[lane].back())) continue;
            t_s[lane].push_back(b.t_s(k));
            z_m[lane].push_back(b.z_m(k));
            vz_mps[lane].push_back(b.vz_mps(k));
        }
    }
};

void nominal_and_sigma(const Courses& courses, const std::array<std::vector<double>, kLanes>& values,
                       const std::vector<double>& base_s, std::vector<double>& value, std::vector<double>& sigma) {
    std::array<std::vector<double>, kLanes> lanes;
    for (std::size_t k = 0; k < kLanes; ++k)
        lanes[k] = analysis::resampled(courses.t_s[k], values[k], base_s, kLongest_s);
    value = lanes[kNominal];
    sigma.assign(base_s.size(), 0);
    for (std::size_t i = 0; i < base_s.size(); ++i) {
        for (std::size_t k = 1; k < kLanes; ++k) {
            // A lane that has come down already stays there.
            const double other = std::isfinite(lanes[k][i]) ? lanes[k][i] : values[k].back();
            sigma[i] += (other - value[i]) * (other - value[i]);
        }
        sigma[i] = std::sqrt(sigma[i]);
    }
}

/// `wind_ns`: whose wind in use it flies in.
std::optional<PredictedCourse> course_of(OpenFlight& flight, std::int64_t wind_ns) {
    const auto setup = flight.reader().setup();
    const std::size_t vehicle = flight.chapter().vehicle;
    if (!setup || !setup->vehicles.at(vehicle).vehicle.rocket || !flight.chapter().liftoff_ns) return std::nullopt;
    return course_by_files(*setup->vehicles[vehicle].vehicle.rocket, setup->site,
                           air_on_rail(flight.recorded(), vehicle, *flight.chapter().liftoff_ns - kBeforeNs),
                           wind_in_use(flight.recorded(), vehicle, wind_ns));
}

} // namespace

PredictedCourse course_by_files(const RocketModel& rocket, const Site& site, const DayAtmosphere& air,
                                const WindProfile& wind) {
    FlightConditions conditions(rocket, normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m), Ground(site));
    conditions.set_air(air);
    FlightBlock block = on_the_rail(conditions, site, wind);
    Courses courses;
    for (std::size_t k = 0; k < kLanes; ++k) {
        courses.t_s[k] = {0};
        courses.z_m[k] = {0};
        courses.vz_mps[k] = {0};
    }
    const EachStep each = [&](const FlightBlock& b) { courses.take(b); };
    climb(conditions, block, each);
    descend(conditions, block, {}, each);

    PredictedCourse course;
    course.burnout_s = rocket.burn_time_s();
    course.apogee_s = block.apogee_s(kNominal);
    if (!rocket.parachutes.empty() && !rocket.parachutes.front().opens_below_m)
        course.drogue_out_s = course.apogee_s + rocket.parachutes.front().opens_after_s;
    const double landing_s = std::min(kLongest_s, block.landing_s(kNominal));
    course.t_s = analysis::time_base(0, landing_s, kStep_s, static_cast<std::size_t>(kLongest_s / kStep_s) + 2);
    nominal_and_sigma(courses, courses.z_m, course.t_s, course.altitude_m, course.altitude_sigma_m);
    nominal_and_sigma(courses, courses.vz_mps, course.t_s, course.vertical_speed_mps, course.vertical_speed_sigma_mps);
    return course;
}

std::optional<PredictedCourse> predicted_course(OpenFlight& flight) {
    return course_of(flight, flight.chapter().liftoff_ns.value_or(0) - kBeforeNs);
}

std::optional<PredictedCourse> simulated_course(OpenFlight& flight) {
    return course_of(flight, flight.chapter().flown().to_ns);
}

} // namespace turnstone::debrief
