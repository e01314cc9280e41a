#include "server/analysis/performance/thrust.hpp"

#include <algorithm>
#include <cmath>

#include "server/analysis/ensemble/resample.hpp"

namespace turnstone::analysis {

namespace {

constexpr double kPowerOn = 0.9, kPowerOnSigma = 0.08;
constexpr double kBefore_s = 0.1, kAfter_s = 0.3;
constexpr double kRowsApart_s = 0.5;
constexpr double kClips = 0.98; ///< of the range
constexpr double kMissingMost = 0.15;
constexpr double kBurnShare = 0.05;
constexpr std::size_t kThrustReadingsLeast = 20;
/// The speed at burnout lies behind what the filter was told of thrust; the trapezoids of a curve with corners.
constexpr double kShapeSigma = 0.003;

double value_at(const DragTable& drag, double mach) {
    const std::vector<double> at{std::clamp(mach, drag.mach.front(), drag.mach.back())};
    return resampled(drag.mach, drag.cd, at, 1e9).front();
}

struct Sample {
    double t_s, step_s, force_mps2, drag_n;
};

} // namespace

ThrustCurve thrust_curve(const Course& course, const AxialForce& axial, double burnout_s, double gravity_mps2,
                         double reference_area_m2, const DragTable& drag, const Masses& masses, const Doubts& doubts) {
    ThrustCurve out;
    std::vector<Sample> samples;
    double missing_s = 0, usual_s = 1e9;
    for (std::size_t i = 1; i < axial.t_s.size(); ++i)
        if (axial.t_s[i] > axial.t_s[i - 1]) usual_s = std::min(usual_s, axial.t_s[i] - axial.t_s[i - 1]);
    for (std::size_t i = 1; i < axial.t_s.size(); ++i) {
        const double t_s = axial.t_s[i], step_s = t_s - axial.t_s[i - 1];
        if (t_s < -kBefore_s || t_s > burnout_s + kAfter_s || !std::isfinite(axial.force_mps2[i]) || !(step_s > 0))
            continue;
        if (axial.force_mps2[i] > kClips * doubts.range_mps2) {
            out.why = "the accelerometer was at the end of its range";
            return out;
        }
        if (step_s > 3 * usual_s && t_s < burnout_s) missing_s += step_s;
        samples.push_back({t_s, step_s, axial.force_mps2[i], 0});
    }
    if (samples.size() < kThrustReadingsLeast || missing_s > kMissingMost * burnout_s) {
        out.why = samples.size() < kThrustReadingsLeast ? "too few readings of axial acceleration under thrust"
                                                        : "too many readings under thrust were lost";
        return out;
    }
    std::vector<double> times;
    for (const Sample& sample : samples) times.push_back(sample.t_s);
    const auto at = [&](const std::vector<double>& values) {
        return resampled(course.t_s, values, times, kRowsApart_s);
    };
    const auto speed = at(course.speed_mps), density = at(course.density_kg_m3), mach = at(course.mach);
    double drag_impulse = 0;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double pressure_pa = 0.5 * density[i] * speed[i] * speed[i];
        if (!std::isfinite(pressure_pa * mach[i])) continue;
        const bool burning = samples[i].t_s <= burnout_s;
        samples[i].drag_n = pressure_pa * reference_area_m2 * value_at(drag, mach[i]) * (burning ? kPowerOn : 1.0);
        if (burning && samples[i].t_s > 0) drag_impulse += samples[i].drag_n * samples[i].step_s;
    }
    // Where the thrust has ended and the drag of the coast has set in.
    const std::vector<double> ended{burnout_s + kAfter_s};
    const double gained_mps = resampled(course.t_s, course.up_mps, ended, kRowsApart_s).front();
    const double gained_sigma_mps = resampled(course.t_s, course.up_sigma_mps, ended, kRowsApart_s).front();
    double pushed_mps = 0;
    for (const Sample& sample : samples)
        if (sample.t_s > 0) pushed_mps += sample.force_mps2 * sample.step_s;
    // A lean of the path takes part of the speed out of the vertical: the speed against the air says how much.
    const double gained_along_mps = resampled(course.t_s, course.speed_mps, ended, kRowsApart_s).front();
    if (!(pushed_mps > 0) || !std::isfinite(gained_along_mps * gained_mps)) {
        out.why = "the speed at burnout is not known";
        return out;
    }
    const double lean = std::clamp(gained_mps / gained_along_mps, 0.5, 1.0); // cosine
    const double along_mps = gained_mps / lean + lean * gravity_mps2 * (burnout_s + kAfter_s);
    out.axial_factor = along_mps / pushed_mps;

    // Propellant goes with the impulse, and the impulse with the mass: three rounds agree to a part in a million.
    std::vector<double> thrust(samples.size());
    double total = 1;
    for (int round = 0; round < 4; ++round) {
        double delivered = 0;
        for (std::size_t i = 0; i < samples.size(); ++i) {
            const Sample& sample = samples[i];
            const double left = round == 0 ? 0.5 : std::clamp(1 - delivered / total, 0.0, 1.0);
            const double mass_kg = masses.dry_kg + left * masses.propellant_kg;
            const bool moves = sample.t_s > 0;
            thrust[i] = moves ? mass_kg * out.axial_factor * sample.force_mps2 + sample.drag_n : 0.0;
            if (moves && sample.t_s <= burnout_s + kAfter_s) delivered += thrust[i] * sample.step_s;
        }
        total = delivered;
    }
    const double mass_sigma = std::hypot(masses.dry_sigma_kg, 0.5 * masses.propellant_sigma_kg) /
                              (masses.dry_kg + 0.5 * masses.propellant_kg);
    const double speed_sigma = gained_sigma_mps / gained_mps;
    const double drag_sigma = drag_impulse / total * std::hypot(kPowerOnSigma / kPowerOn, drag.sigma);
    const double relative = std::hypot(std::hypot(mass_sigma, speed_sigma), std::hypot(drag_sigma, kShapeSigma));
    out.impulse_n_s = found(total, relative * total);

    const double greatest = *std::ranges::max_element(thrust);
    double first_s = kNone, last_s = kNone;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        if (thrust[i] < kBurnShare * greatest || samples[i].t_s > burnout_s + kAfter_s) continue;
        if (std::isnan(first_s)) first_s = samples[i].t_s - 0.5 * samples[i].step_s;
        last_s = samples[i].t_s;
    }
    out.burn_s = last_s - first_s;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        // The mean of an interval belongs to its middle.
        out.t_s.push_back(samples[i].t_s - 0.5 * samples[i].step_s);
        out.thrust_n.push_back(thrust[i]);
        const double bias_n = (masses.dry_kg + 0.5 * masses.propellant_kg) * doubts.bias_mps2;
        out.sigma_n.push_back(std::hypot(relative * thrust[i], bias_n));
    }
    return out;
}

} // namespace turnstone::analysis
