// Back-dating: when a change that has been recognised began.
#include <algorithm>
#include <cmath>

#include "server/estimate/phases/climb_bend.hpp"
#include "server/estimate/phases/phase_detector.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kLostPacket_s = 0.012;
constexpr double kFade_s = 0.3;
constexpr double kSpeedByHeights_mps = 8.0; ///< 1-sigma, ports included
constexpr double kImpactGroup_s = 2.0;
constexpr double kRestAfterImpact_s = 12.0;
constexpr double kCanopyAfterCharge_s = 1.2;
constexpr double kImpactSigma_s = 0.006;   ///< the ground gives way at first
constexpr double kTipping_s = 1.2;         ///< from an impact to lying still
constexpr double kChargeTurns_rad_s = 1.2; ///< within the gap of a packet; hanging and swinging turn more slowly
constexpr double kSeenGap_s = 0.06; ///< two packets of four samples at 200 Hz: still dated by the samples themselves

} // namespace

PhaseDetector::TimeEstimate PhaseDetector::thrust_onset() const {
    const double gap_s = seconds_between(thrust_.t_before_ns, thrust_.t_first_ns);
    if (gap_s > kSeenGap_s && barometer_alive() && std::isfinite(thrust_.start_height_m)) {
        // Thrust began unseen. Uniform acceleration from then to now: rise = a t^2 / 2.
        const double duration_s = seconds_between(thrust_.t_first_ns, thrust_.t_last_ns);
        const double accel = duration_s > 0.0 ? thrust_.gained_mps / duration_s : 50.0;
        const std::int64_t newest_ns = heights_.back().t_ns;
        const auto risen = mean_height(newest_ns - seconds_to_ns(0.1), newest_ns);
        const double rise_m = std::max(0.0, risen.value_or(0.0) - thrust_.start_height_m);
        const double ago_s = std::sqrt(2.0 * rise_m / std::max(accel, 5.0)) + 0.03;
        const std::int64_t t_ns = std::clamp(newest_ns - seconds_to_ns(ago_s), thrust_.t_before_ns, thrust_.t_first_ns);
        return {t_ns, std::clamp(0.15 * ago_s, 0.03, gap_s)};
    }
    if (gap_s > kSeenGap_s) return {(thrust_.t_before_ns + thrust_.t_first_ns) / 2, gap_s / std::sqrt(12.0)};
    // Slow ramps begin below the threshold: back while the force is above rest.
    std::size_t i = forces_.since(thrust_.t_first_ns);
    const double rest = rest_axial_mps2_ + std::max(1.0, 4.0 * settings_.accel_noise_mps2);
    while (i > 0 && forces_[i - 1].axial_mps2 > rest &&
           seconds_between(forces_[i - 1].t_ns, forces_[i].t_ns) < kSeenGap_s)
        --i;
    const double spacing_s = i > 0 ? seconds_between(forces_[i - 1].t_ns, forces_[i].t_ns) : gap_s;
    return {forces_[i].t_ns - seconds_to_ns(0.5 * spacing_s), std::max(0.003, spacing_s / std::sqrt(12.0))};
}

PhaseDetector::TimeEstimate PhaseDetector::climb_onset() const {
    // Root of height against time is a straight line in uniform acceleration from rest; its zero is the onset.
    std::size_t first = heights_.size();
    while (first > 0 && heights_[first - 1].above_pad_m > std::max(2.0, 5.0 * heights_[first - 1].sigma_m)) --first;
    if (first == heights_.size()) return {t_now_ns_, 1.0};
    const std::int64_t t_first_ns = heights_[first].t_ns;
    const std::int64_t t_before_ns = first > 0 ? heights_[first - 1].t_ns : t_first_ns - seconds_to_ns(5.0);
    const double gap_s = seconds_between(t_before_ns, t_first_ns);
    double n = 0, st = 0, sr = 0, stt = 0, str = 0;
    for (std::size_t i = first; i < heights_.size() && seconds_between(t_first_ns, heights_[i].t_ns) < 0.8; ++i) {
        const double t = seconds_between(t_first_ns, heights_[i].t_ns);
        const double root = std::sqrt(heights_[i].above_pad_m);
        n += 1, st += t, sr += root, stt += t * t, str += t * root;
    }
    const double det = n * stt - st * st;
    const double slope = det > 0.0 ? (n * str - st * sr) / det : 0.0;
    const double value = (sr - slope * st) / std::max(n, 1.0);
    const double ago_s = slope > 0.5 ? value / slope : gap_s / 2.0;
    // With a sample before the climb the onset is near it; thrust that started in a gap is dated inside it.
    const std::int64_t earliest_ns = gap_s > 0.3 ? t_before_ns : t_before_ns - seconds_to_ns(0.5);
    const std::int64_t t_ns = std::clamp(t_first_ns - seconds_to_ns(ago_s), earliest_ns, t_first_ns);
    return {t_ns, gap_s > 0.3 ? std::max(0.1, 0.2 * gap_s) : 0.06};
}

/// Thrust ended while nothing was received. Speeds before and after, each with its acceleration, say when.
PhaseDetector::TimeEstimate PhaseDetector::thrust_end_in_gap(std::int64_t before_ns, std::size_t crossed) const {
    const std::int64_t crossed_ns = forces_[crossed].t_ns;
    const std::int64_t from_ns = std::max(before_ns, phase_began_ns_);
    const double gap_s = seconds_between(from_ns, crossed_ns);
    const auto after = line_through_heights(crossed_ns, t_now_ns_);
    if (!after || after->points < 4 || after->speed_mps < 5.0)
        return {from_ns + (crossed_ns - from_ns) / 2, gap_s / std::sqrt(12.0)};
    double ended_s = 0.0; // after from_ns
    double sigma_s = std::max(0.06, 0.15 * gap_s);
    const double now_s = seconds_between(from_ns, t_now_ns_);
    const std::size_t k = speeds_.since(before_ns + 1);
    if (before_ns > phase_began_ns_ && k > 0) {
        const SpeedPoint& before = speeds_[k - 1];
        const double after_mps2 = forces_[crossed].axial_mps2 - settings_.gravity_mps2;
        const double change = before.accel_mps2 - after_mps2;
        if (change < 10.0) return {from_ns + (crossed_ns - from_ns) / 2, gap_s / std::sqrt(12.0)};
        ended_s = (after->speed_mps - before.speed_mps - after_mps2 * now_s) / change + settings_.bend_to_burn_out_s;
        sigma_s = std::hypot(kSpeedByHeights_mps / change, 0.1 * ended_s);
    } else {
        // All of the thrust was missed: uniform acceleration to today's speed, then about that speed.
        ended_s = 2.0 * (now_s - after->height_m / after->speed_mps);
    }
    return {from_ns + seconds_to_ns(std::clamp(ended_s, 0.0, gap_s)), sigma_s};
}

PhaseDetector::TimeEstimate PhaseDetector::thrust_end(std::int64_t crossed_ns) const {
    const std::size_t crossed = forces_.since(crossed_ns);
    if (crossed >= forces_.size()) return {crossed_ns, 0.1};
    if (crossed > 0) {
        const std::int64_t before_ns = forces_[crossed - 1].t_ns;
        const double gap_s = seconds_between(before_ns, crossed_ns);
        if (gap_s > kSeenGap_s) return thrust_end_in_gap(before_ns, crossed);
    }
    // The tail of thrust crosses zero net axial force before it ends; it ends where the force settles on drag alone.
    double sum = 0.0;
    int count = 0;
    for (std::size_t i = forces_.since(crossed_ns + seconds_to_ns(0.09)); i < forces_.size(); ++i) {
        sum += forces_[i].axial_mps2;
        ++count;
    }
    if (count == 0) return {crossed_ns, 0.05};
    const double drag = sum / count;
    const double near = drag + std::max(0.8, 3.0 * settings_.accel_noise_mps2);
    std::size_t i = crossed;
    while (i + 1 < forces_.size() && forces_[i].axial_mps2 > near) ++i;
    // A lost packet, or a fade, on the way hides where exactly.
    double widest_s = 0.0;
    for (std::size_t k = std::max<std::size_t>(crossed, 1); k <= i; ++k)
        widest_s = std::max(widest_s, seconds_between(forces_[k - 1].t_ns, forces_[k].t_ns));
    if (widest_s < kLostPacket_s) return {forces_[i].t_ns, 0.005};
    return {forces_[i].t_ns - seconds_to_ns(0.5 * widest_s), std::hypot(0.005, widest_s / std::sqrt(12.0))};
}

PhaseDetector::TimeEstimate PhaseDetector::climb_end() const {
    std::vector<double> t_s;
    std::vector<double> height_m;
    for (std::size_t i = heights_.since(phase_began_ns_); i < heights_.size(); ++i) {
        t_s.push_back(seconds_between(t_now_ns_, heights_[i].t_ns));
        height_m.push_back(heights_[i].above_pad_m);
    }
    // It bends after the steepest part.
    std::int64_t near_ns = coast_began_ns_;
    double steepest_mps = 0.0;
    for (std::size_t i = heights_.since(phase_began_ns_); i < heights_.size(); ++i) {
        const std::size_t k = heights_.since(heights_[i].t_ns + seconds_to_ns(0.3));
        if (k >= heights_.size()) break;
        const double slope_mps =
            (heights_[k].above_pad_m - heights_[i].above_pad_m) / seconds_between(heights_[i].t_ns, heights_[k].t_ns);
        if (slope_mps <= steepest_mps) continue;
        steepest_mps = slope_mps;
        near_ns = heights_[i].t_ns + (heights_[k].t_ns - heights_[i].t_ns) / 2;
    }
    const auto bend = bend_of_climb(t_s, height_m, seconds_between(t_now_ns_, near_ns));
    if (!bend) return {near_ns, 1.0};
    const std::int64_t t_ns = t_now_ns_ + seconds_to_ns(bend->t_s + settings_.bend_to_burn_out_s);
    // A bend that nobody saw is known from the speeds on both sides, less well.
    const std::size_t after = heights_.since(t_now_ns_ + seconds_to_ns(bend->t_s));
    const bool between = after > 0 && after < heights_.size();
    const double gap_s = between ? seconds_between(heights_[after - 1].t_ns, heights_[after].t_ns) : 0.0;
    const double sigma_s = std::hypot(settings_.bend_to_burn_out_sigma_s, std::min(bend->sigma_s, 1.0), 0.3 * gap_s);
    // With a fade in the climb the bend may be another one, of what is left to see: between the two, and no surer than
    // that.
    const auto fade = fade_between(phase_began_ns_ - seconds_to_ns(1.0), t_now_ns_);
    if (!fade) return {t_ns, sigma_s};
    const double apart_s = seconds_between(fade->t_ns, t_ns);
    return {fade->t_ns + seconds_to_ns(0.5 * apart_s), std::hypot(sigma_s, fade->sigma_s, 0.5 * apart_s)};
}

/// The first shock that was seen may be the canopy's, when the packet with the charge was lost: the charge sets the
/// body turning, so it is in the first gap across which the lateral rate has jumped.
PhaseDetector::TimeEstimate PhaseDetector::charge(const Shock& shock, std::int64_t from_ns) const {
    for (std::size_t i = std::max<std::size_t>(forces_.since(from_ns), 1);
         i < forces_.size() && forces_[i].t_ns < shock.t_ns; ++i) {
        const std::int64_t before_ns = forces_[i - 1].t_ns;
        const std::int64_t after_ns = forces_[i].t_ns;
        const double gap_s = seconds_between(before_ns, after_ns);
        if (gap_s < kLostPacket_s) continue;
        const double jump = mean_rate(after_ns, after_ns + seconds_to_ns(0.008)) -
                            mean_rate(before_ns - seconds_to_ns(0.05), before_ns);
        if (std::fabs(jump) < kChargeTurns_rad_s) continue;
        return {before_ns + (after_ns - before_ns) / 2, std::max(0.003, gap_s / std::sqrt(12.0))};
    }
    // Heard again just before it: the charge is in the fade, or was before this shock.
    if (const auto fade = fade_between(shock.t_ns - seconds_to_ns(kCanopyAfterCharge_s), shock.t_ns)) {
        return {std::max(fade->t_ns, shock.t_ns - seconds_to_ns(kCanopyAfterCharge_s / 2.0)),
                kCanopyAfterCharge_s / 3.0};
    }
    return {shock.t_ns, shock.sigma_s};
}

PhaseDetector::TimeEstimate PhaseDetector::main_onset() const {
    std::vector<double> t_s;
    std::vector<double> height_m;
    for (std::size_t i = heights_.since(t_now_ns_ - seconds_to_ns(4.0)); i < heights_.size(); ++i) {
        t_s.push_back(seconds_between(t_now_ns_, heights_[i].t_ns));
        height_m.push_back(heights_[i].above_pad_m);
    }
    TimeEstimate when{t_now_ns_ - seconds_to_ns(1.5), 0.7};
    if (const auto found = break_between_parabolas(t_s, height_m, false))
        when = {t_now_ns_ + seconds_to_ns(found->t_s), std::max(0.2, found->sigma_s)};
    const std::size_t after = heights_.since(when.t_ns);
    if (after > 0 && after < heights_.size())
        when.sigma_s = std::max(when.sigma_s, seconds_between(heights_[after - 1].t_ns, heights_[after].t_ns) / 2.0);
    const auto fade = fade_between(t_now_ns_ - seconds_to_ns(5.0), t_now_ns_);
    // The charge fires before the canopy pulls: the first shock or pulse of the newest group that began near the break.
    const std::size_t from =
        shocks_.since(std::max(when.t_ns - seconds_to_ns(2.5), phase_began_ns_ + seconds_to_ns(1.0)));
    for (std::size_t i = from; i < shocks_.size(); ++i)
        if (shocks_[i].t_ns <= when.t_ns + seconds_to_ns(1.5))
            return charge(shocks_[i], shocks_[from].t_ns - seconds_to_ns(1.0));
    if (fade) when = {fade->t_ns, std::hypot(fade->sigma_s, 0.5 * seconds_between(fade->t_ns, when.t_ns))};
    return when;
}

PhaseDetector::TimeEstimate PhaseDetector::touch_down(double ground_m) const {
    std::size_t i = heights_.size();
    const double near_m = 1.5 + 3.0 * heights_.back().sigma_m;
    while (i > 0 && std::fabs(heights_[i - 1].above_pad_m - ground_m) < near_m) --i;
    const std::int64_t near_ns = i < heights_.size() ? heights_[i].t_ns : t_now_ns_;
    // Where the descent before meets the ground. Unseen in a fade, it is carried on through it.
    const std::int64_t before_ns = i > 0 ? heights_[i - 1].t_ns : near_ns;
    const double gap_s = seconds_between(before_ns, near_ns);
    const bool faded = gap_s > kFade_s;
    const std::int64_t seen_ns = faded ? before_ns : near_ns;
    const auto descent = line_through_heights(seen_ns - seconds_to_ns(4.0), seen_ns);
    TimeEstimate when{before_ns + (near_ns - before_ns) / 2, std::max(0.5, gap_s / std::sqrt(12.0))};
    if (descent && descent->speed_mps < -1.0) {
        const double left_s = std::clamp((ground_m - descent->height_m) / descent->speed_mps, 0.0, faded ? gap_s : 2.0);
        when = {seen_ns + seconds_to_ns(left_s), std::hypot(0.15, 0.1 * left_s)};
    }
    // The impact, if it was felt; a packet may be lost with it, and the bay tipping over is felt a little later.
    for (std::size_t k = shocks_.since(when.t_ns - seconds_to_ns(1.0 + when.sigma_s)); k < shocks_.size(); ++k) {
        const double apart_s = std::fabs(seconds_between(when.t_ns, shocks_[k].t_ns));
        if (apart_s < std::max(0.5, 3.0 * when.sigma_s))
            return {shocks_[k].t_ns, std::max(kImpactSigma_s, shocks_[k].sigma_s)};
    }
    return when;
}

/// By forces alone: the first of the last group of shocks, as tipping over follows the impact; or the fade that hid
/// them.
std::optional<PhaseDetector::TimeEstimate> PhaseDetector::impact_before_rest() const {
    std::optional<TimeEstimate> impact;
    for (std::size_t i = shocks_.size(); i-- > 0 && shocks_[i].t_ns > phase_began_ns_;) {
        const std::int64_t later_ns = impact ? impact->t_ns : t_now_ns_;
        if (seconds_between(shocks_[i].t_last_ns, later_ns) > (impact ? kImpactGroup_s : kRestAfterImpact_s)) break;
        impact = {shocks_[i].t_ns, std::max(kImpactSigma_s, shocks_[i].sigma_s)};
    }
    const std::int64_t from_ns =
        impact ? impact->t_ns - seconds_to_ns(kTipping_s) : t_now_ns_ - seconds_to_ns(kRestAfterImpact_s);
    const std::int64_t to_ns = impact ? impact->t_ns : t_now_ns_;
    for (std::size_t i = std::max<std::size_t>(forces_.since(std::max(from_ns, phase_began_ns_)), 1);
         i < forces_.size() && forces_[i].t_ns < to_ns; ++i) {
        const std::int64_t before_ns = forces_[i - 1].t_ns;
        const double gap_s = seconds_between(before_ns, forces_[i].t_ns);
        // Hanging upright before, lying after: the impact is inside, or, in a lost packet, tipping over began there.
        if (gap_s < kFade_s || forces_[i - 1].t_ns < phase_began_ns_) continue;
        return TimeEstimate{before_ns + (forces_[i].t_ns - before_ns) / 2,
                            std::max(gap_s / std::sqrt(12.0), impact ? 0.1 : 0.5)};
    }
    return impact;
}

/// The first fade of the sensor that is heard most often: what happened unseen happened there.
std::optional<PhaseDetector::TimeEstimate> PhaseDetector::fade_between(std::int64_t from_ns, std::int64_t to_ns) const {
    const auto search = [&](const auto& samples) -> std::optional<TimeEstimate> {
        for (std::size_t i = std::max<std::size_t>(samples.since(from_ns), 1);
             i < samples.size() && samples[i - 1].t_ns < to_ns; ++i) {
            const double gap_s = seconds_between(samples[i - 1].t_ns, samples[i].t_ns);
            if (gap_s < kFade_s) continue;
            return TimeEstimate{samples[i - 1].t_ns + (samples[i].t_ns - samples[i - 1].t_ns) / 2,
                                gap_s / std::sqrt(12.0)};
        }
        return std::nullopt;
    };
    return forces_.empty() ? search(heights_) : search(forces_);
}

} // namespace turnstone
