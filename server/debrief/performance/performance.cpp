#include "server/debrief/performance/performance.hpp"

#include <cmath>

#include "server/analysis/ensemble/resample.hpp"

namespace turnstone::debrief {

namespace {

using analysis::kNone;

/// What is left of the thrust, and until the filter has seen that it ended.
constexpr double kCoastBegins_s = 0.5;
constexpr double kBeforeApogee_s = 0.3;
/// Until a parachute is full and the vehicle hangs still.
constexpr double kAfterOpening_s = 4, kBeforeNext_s = 1;
/// A metre or two of height, at the speed of a descent under a drogue.
constexpr double kHeightPassed_s = 0.08;
/// Of the drag area of a body that hangs under a parachute, against that of its flight; relative.
constexpr double kHangingSigma = 0.6;

/// The first time at which the course comes down through a height.
double falls_through_s(const analysis::Course& course, double after_s, double height_m) {
    for (std::size_t i = 1; i < course.t_s.size(); ++i) {
        if (course.t_s[i] < after_s || !(course.altitude_m[i] <= height_m) || !(course.altitude_m[i - 1] > height_m))
            continue;
        const double part = (course.altitude_m[i - 1] - height_m) / (course.altitude_m[i - 1] - course.altitude_m[i]);
        return course.t_s[i - 1] + part * (course.t_s[i] - course.t_s[i - 1]);
    }
    return kNone;
}

/// The drag table that thrust is found with: this flight's own coast where it shows one, as well known as where the
/// vehicle was fastest, which is where drag takes most of the impulse.
analysis::DragTable drag_table(const analysis::DragCurve& curve, const RocketModel& rocket) {
    if (curve.mach.empty()) return {rocket.drag_coefficient.x, rocket.drag_coefficient.y, rocket.scatter.drag};
    return {curve.mach, curve.cd, curve.sigma.back() / curve.cd.back()};
}

/// `before`: what was open already; becomes what is open now.
ParachuteFound parachute_of(const PerformanceRecord& record, const RocketModel& rocket, std::size_t k,
                            double gravity_mps2, const analysis::Masses& masses, analysis::DragArea& before) {
    ParachuteFound found;
    const Parachute& file = rocket.parachutes[k];
    const double out_s = k < record.parachute_out_s.size() ? record.parachute_out_s[k] : kNone;
    if (std::isnan(out_s)) {
        found.why = "it was not seen to come out";
        return found;
    }
    double until_s = record.touchdown_s;
    for (std::size_t next = k + 1; next < record.parachute_out_s.size(); ++next)
        if (std::isfinite(record.parachute_out_s[next])) {
            until_s = record.parachute_out_s[next];
            break;
        }
    analysis::DragArea area;
    if (std::isfinite(until_s))
        area =
            analysis::drag_area(record.course, out_s + kAfterOpening_s, until_s - kBeforeNext_s, gravity_mps2, masses);
    else
        area.why = "the end of its descent was not seen";
    found.why = area.why;
    if (area.why.empty()) {
        found.area_m2 = analysis::opened_between(before, area);
        found.rate_mps = area.rate_mps;
        before = area;
    } else {
        before.own = std::hypot(before.own * before.area_m2, rocket.scatter.parachute_drag_area * file.drag_area_m2) /
                     (before.area_m2 + file.drag_area_m2);
        before.area_m2 += file.drag_area_m2;
    }
    const double released_s =
        file.opens_below_m ? falls_through_s(record.course, record.apogee_s, *file.opens_below_m) : record.apogee_s;
    const double released_sigma_s = file.opens_below_m ? kHeightPassed_s : record.apogee_sigma_s;
    found.opening_s =
        analysis::found(out_s - released_s, std::hypot(record.parachute_out_sigma_s[k], released_sigma_s));
    return found;
}

} // namespace

analysis::Masses masses_of(const RocketModel& rocket) {
    return {rocket.mass_dry_kg, rocket.scatter.mass_dry * rocket.mass_dry_kg, rocket.mass_propellant_kg, 0};
}

Performance performance_of(const PerformanceRecord& record, const RocketModel& rocket, const SensorNoise& sensors,
                           double gravity_mps2, const analysis::Masses& masses) {
    const analysis::Doubts doubts{
        .bias_mps2 = sensors.accel_bias_mps2, .scale = sensors.accel_scale, .range_mps2 = sensors.accel_range_mps2};
    Performance out;
    if (std::isfinite(record.burnout_s) && std::isfinite(record.apogee_s)) {
        out.drag = analysis::drag_curve(record.course, record.axial, record.burnout_s + kCoastBegins_s,
                                        record.apogee_s - kBeforeApogee_s, rocket.reference_area_m2, masses, doubts);
    } else {
        out.drag.why = "burnout or apogee was not seen";
    }
    if (std::isfinite(record.burnout_s))
        out.thrust = analysis::thrust_curve(record.course, record.axial, record.burnout_s, gravity_mps2,
                                            rocket.reference_area_m2, drag_table(out.drag, rocket), masses, doubts);
    else
        out.thrust.why = "burnout was not seen";
    // What there is before any opens: the vehicle itself, hanging as it may.
    analysis::DragArea before;
    before.area_m2 = rocket.reference_area_m2 * rocket.drag_coefficient.at(0);
    before.own = kHangingSigma;
    for (std::size_t k = 0; k < rocket.parachutes.size(); ++k)
        out.parachutes.push_back(parachute_of(record, rocket, k, gravity_mps2, masses, before));
    return out;
}

} // namespace turnstone::debrief
