#include "server/estimate/navigation/navigation.hpp"

#include <algorithm>
#include <cmath>

#include "server/estimate/math/square.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector3d;

namespace {

/// Chi-square 0.999 by degrees of freedom.
constexpr std::array<double, 7> kGate = {0, 10.827566, 13.815511, 16.266236, 18.466827, 20.515006, 22.457744};
constexpr double kRecovery_s = 3.0;
// How long errors of pressure altitudes stay the same number of their sigmas: the day's air the whole flight, ports and
// delay while the motion does; and less where the sigmas change, whose course only resembles that of the errors.
constexpr double kAirTime_s = 300.0;
constexpr double kMotionErrorTime_s = 30.0;
constexpr double kChangeForgets = 0.3; // for each factor e of the sigma
constexpr double kPulse_s = 2.0;
constexpr double kHeightsAlike_s = 5.0;
constexpr double kHeightJudged_s = 0.2;
// What a forecast is off by is much the same all the way down (wind_profile.hpp).
constexpr double kAirAlike_s = 100.0;
constexpr double kDriftEvery_s = 0.1;
constexpr double kDriftOver_s = 5.0;

template <int M>
double nis_of(const Eigen::Matrix<double, M, 1>& innovation, const Eigen::Matrix<double, M, M>& covariance) {
    return innovation.dot(covariance.ldlt().solve(innovation));
}

} // namespace

void Navigation::fix(const FixSample& sample) {
    if (sample.fix_dimensions < 2 || !std::isfinite(sample.latitude_deg) || !std::isfinite(sample.longitude_deg)) {
        fix_noise_.lost(sample.t_ns);
        return;
    }
    const bool has_height = sample.fix_dimensions >= 3 && std::isfinite(sample.height_ellipsoid_m);
    const bool has_velocity = sample.velocity_enu_mps.allFinite();
    const FixNoise::Sigmas sigma = fix_noise_.of(sample);
    EnuFix fix;
    fix.exact_time = sample.t_valid_ns != 0;
    fix.t_valid_ns = fix.exact_time ? sample.t_valid_ns : sample.t_ns - seconds_to_ns(sensors_.fix_delay_s);
    const double z_m = moving() ? bank_.best().nominal().position_enu_m.z() : 0;
    fix.measured << frame_.to_enu_m({sample.latitude_deg, sample.longitude_deg,
                                     has_height ? sample.height_ellipsoid_m : site_->pad.height_m + z_m}),
        has_velocity ? sample.velocity_enu_mps : Vector3d(0, 0, 0);
    fix.given << 1, 1, has_height ? 1 : 0, Vector3d::Constant(has_velocity ? 1 : 0);
    fix.sigma << sigma.new_m, sigma.speed_mps, sigma.speed_mps, sigma.speed_mps;
    if (at_rest_) watch_rest(fix, sigma.stated_m, sample.t_ns);
    if (resting() && !left_rest_) {
        if (has_height) alignment_.position(fix.t_valid_ns, fix.measured.head<3>(), sigma.stated_m);
        fix_noise_.start(fix.t_valid_ns, sigma.stated_m);
        fix_used_ = true;
        last_fix_used_ns_ = sample.t_ns;
        return;
    }
    const FixNoise::Wander wander = fix_noise_.wander(fix.t_valid_ns, sigma.stated_m);
    if (!moving()) return;
    for (NavigationBranch& branch : bank_.all()) branch.filter().wander_fix_bias(wander.kept, wander.variance_added_m2);
    if (bank_.best().reaches(fix.t_valid_ns)) use_fix(fix, sample.t_ns);
}

void Navigation::use_fix(const EnuFix& fix, std::int64_t t_ns) {
    BranchBank::Views<6> views = bank_.see<6>(fix);
    const BranchBank::Mixture<6> mixture = bank_.mix<6>(views);
    const int degrees = static_cast<int>(fix.given.sum());
    const double nis = nis_of<6>(mixture.innovation, mixture.covariance);
    nis_fix_.add(nis, degrees);
    nis_horizontal_.add(nis_of<2>(mixture.innovation.head<2>(), mixture.covariance.topLeftCorner<2, 2>()), 2);
    if (fix.given(2) > 0) nis_vertical_.add(mixture.innovation(2) * mixture.innovation(2) / mixture.covariance(2, 2));
    if (fix.given(3) > 0)
        nis_velocity_.add(nis_of<3>(mixture.innovation.tail<3>(), mixture.covariance.bottomRightCorner<3, 3>()), 3);
    const bool doubtful = nis > kGate.at(static_cast<std::size_t>(degrees));
    if (doubtful)
        for (std::size_t k = 0; k < bank_.size(); ++k) views[k].widen(nis / degrees * views[k].noise);
    bank_.correct<6>(views);
    bank_.merge_alike();
    if (pass_) leave_said();
    if (!doubtful) {
        fix_used_ = true;
        last_fix_used_ns_ = t_ns;
        fix_rejected_since_ns_ = 0;
        return;
    }
    ++rejected_fixes_;
    if (fix_rejected_since_ns_ == 0) {
        fix_rejected_since_ns_ = t_ns;
    } else if (seconds_between(fix_rejected_since_ns_, t_ns) > kRecovery_s) {
        for (NavigationBranch& branch : bank_.all()) branch.give_way(branch.see(fix));
        fix_rejected_since_ns_ = 0;
    }
}

void Navigation::height(std::int64_t t_ns, double above_pad_m, double noise_m, double air_m, double port_m) {
    const double since_s = std::clamp(seconds_between(t_height_ns_, t_ns), 1e-3, 1.0);
    t_height_ns_ = t_ns;
    if (!std::isfinite(above_pad_m) || !std::isfinite(noise_m + air_m + port_m)) return;
    if (at_rest_) watch_rest(above_pad_m, std::hypot(noise_m, air_m), t_ns);
    if (!moving()) return;
    // What the barometer's delay is off by becomes height with speed.
    const double late_m = sensors_.pressure_delay_sigma_s * std::abs(bank_.best().nominal().velocity_enu_mps.z());
    const EnuHeight height{
        t_ns - seconds_to_ns(sensors_.pressure_delay_s), above_pad_m, noise_m, {air_m, std::hypot(port_m, late_m)}};
    if (!bank_.best().reaches(height.t_ns)) return;
    const Eigen::Array2d grown = (height.slow_m.array().max(noise_m) / height_slow_m_.array().max(noise_m)).log().abs();
    height_slow_m_ = height.slow_m;
    const double kept_air = std::exp(-since_s / kAirTime_s - kChangeForgets * grown(0));
    const double kept_motion = std::exp(-since_s / kMotionErrorTime_s - kChangeForgets * grown(1));
    for (NavigationBranch& branch : bank_.all()) branch.filter().wander_height_error(kept_air, kept_motion);
    BranchBank::Views<1> views = bank_.see<1>(height);
    const BranchBank::Mixture<1> mixture = bank_.mix<1>(views);
    const double nis = mixture.innovation(0) * mixture.innovation(0) / mixture.covariance(0, 0);
    const bool fits = nis <= kGate[1];
    // A charge's pulse is not the filter's fault: what is dropped counts once it lasts.
    const bool lasts = height_rejected_since_ns_ != 0 && seconds_between(height_rejected_since_ns_, t_ns) > kPulse_s;
    const double judged_s = seconds_between(t_height_judged_ns_, t_ns);
    if ((fits || lasts) && judged_s >= kHeightJudged_s) {
        const double degrees = std::min(1.0, judged_s / kHeightsAlike_s);
        nis_height_.add(degrees * nis, degrees);
        t_height_judged_ns_ = t_ns;
    }
    if (fits) {
        // Shocks and swinging that the inertial sensors alias are alike for a while: heights a few hundredths of a
        // second apart would explain them by attitude. They count as one in that time.
        const double alike_m = std::hypot(noise_m, air_m) * std::sqrt(std::max(1.0, kHeightsAlike_s / since_s));
        const Eigen::Matrix<double, 1, 1> alike_m2(alike_m * alike_m);
        for (std::size_t k = 0; k < bank_.size(); ++k) views[k].widen(alike_m2);
        bank_.correct<1>(views);
        bank_.rank();
        if (pass_) leave_said();
        height_rejected_since_ns_ = 0;
        return;
    }
    ++rejected_heights_;
    if (height_rejected_since_ns_ == 0) {
        height_rejected_since_ns_ = t_ns;
    } else if (seconds_between(height_rejected_since_ns_, t_ns) > kRecovery_s &&
               estimate().mode != NavigationMode::gnss_aided) {
        // Without GNSS fixes the barometer is all there is to hold the height.
        for (NavigationBranch& branch : bank_.all()) {
            branch.filter().inflate(Eskf::kPosition, mixture.innovation(0));
            branch.filter().inflate(Eskf::kVelocity, 5);
        }
        height_rejected_since_ns_ = 0;
    }
}

void Navigation::hangs(const Eigen::Vector2d& air_en_mps, double sigma_mps) {
    const double since_s = seconds_between(drift_.t_ns, t_ns());
    if (!moving() || since_s < kDriftEvery_s || !air_en_mps.allFinite()) return;
    if (fix_used_ && seconds_between(last_fix_used_ns_, t_ns()) < kAidedFor_s) {
        drift_ = {}; // what was gathered is corrected
        return;
    }
    const bool goes_on = since_s < kDriftOver_s;
    if (!goes_on && !(bank_.velocity_sigma_mps().head<2>().maxCoeff() > sigma_mps)) return;
    drift_ = {t_ns(), sigma_mps,
              goes_on ? std::exp(-since_s / kAirAlike_s) * (drift_.gathered_m2ps + square(drift_.sigma_mps) * since_s)
                      : 0};
    for (NavigationBranch& branch : bank_.all()) branch.drift(air_en_mps, sigma_mps, drift_.gathered_m2ps);
}

} // namespace turnstone::estimate
