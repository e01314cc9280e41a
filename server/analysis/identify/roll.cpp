#include "server/analysis/identify/roll.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace turnstone::analysis {

namespace {

constexpr double kRollGap_s = 0.1;
constexpr double kDelayMost_s = 0.2;
/// Gusts along the path change what canted fins push for seconds: this part of it, 1-sigma in a second, as a random
/// walk: 2 s / V sqrt(2 V / L) in the Dryden form of MIL-F-8785C with s = 0.8 m/s, a tenth of the wind, L = 1000 ft and
/// V = 120 m/s. And the measurement's noise that it is compared with: common practice, no source.
constexpr double kOffsetWalk_rts = 0.012, kUsualNoise_radps = 0.01;

struct RollSample {
    double t_s, rate, fin, pressure, pressure_over_speed; ///< the last two over those of the reference
};

/// A record without its holes, and the filter that runs over it.
class RollFilter {
  public:
    explicit RollFilter(const RollRecord& record) {
        std::vector<double> fins;
        double pressure = 0, speed = 0;
        const std::size_t count = std::min({record.t_s.size(), record.rate_radps.size(), record.fin_rad.size(),
                                            record.dynamic_pressure_pa.size(), record.airspeed_mps.size()});
        for (std::size_t i = 0; i < count; ++i) {
            const RollSample s{record.t_s[i], record.rate_radps[i], record.fin_rad[i], record.dynamic_pressure_pa[i],
                               record.dynamic_pressure_pa[i] / record.airspeed_mps[i]};
            if (!std::isfinite(s.t_s + s.rate + s.fin + s.pressure + s.pressure_over_speed)) continue;
            if (!samples_.empty() && s.t_s <= samples_.back().t_s) continue;
            samples_.push_back(s);
            fins.push_back(s.fin);
            pressure += s.pressure;
            speed += record.airspeed_mps[i];
        }
        if (samples_.empty()) return;
        const auto n = static_cast<double>(samples_.size());
        q_pa_ = pressure / n;
        speed_mps_ = speed / n;
        for (RollSample& s : samples_) {
            s.pressure /= q_pa_;
            s.pressure_over_speed *= speed_mps_ / q_pa_;
        }
        fin_moves_ = summarise(fins).sd;
        innovations_ = 0;
        for (std::size_t i = 1; i < samples_.size(); ++i)
            if (samples_[i].t_s - samples_[i - 1].t_s < kRollGap_s) ++innovations_;
    }

    /// Innovations over their relative sigma, for lp, ld, l0 and delay; the measurement's variance counts 1, that of
    /// the drive `drive` per second. All are times `level`, the geometric mean of those sigmas, so that the least sum
    /// of squares is the greatest likelihood: without it, parameters that make the filter expect more would win.
    [[nodiscard]] Eigen::VectorXd run(const Eigen::VectorXd& by, double drive, double* level = nullptr) const {
        Eigen::VectorXd out(innovations_);
        Eigen::Index at = 0;
        double p = samples_.front().rate, logs = 0;
        double drift = 0; // of the offset, and the covariance of both
        double of_p = 1, of_both = 0, of_drift = 0;
        const double walk = std::pow(kOffsetWalk_rts * by[2] / kUsualNoise_radps, 2);
        std::size_t fin = 0;
        for (std::size_t i = 1; i < samples_.size(); ++i) {
            const RollSample &a = samples_[i - 1], &b = samples_[i];
            const double dt = b.t_s - a.t_s;
            if (dt >= kRollGap_s) {
                p = b.rate;
                of_p = 1;
                of_both = 0;
                continue;
            }
            const double q = 0.5 * (a.pressure + b.pressure);
            const double rate = by[0] * 0.5 * (a.pressure_over_speed + b.pressure_over_speed);
            const double push = q * (by[1] * fin_at(a.t_s + 0.5 * dt - by[3], fin) + by[2] + drift);
            const double kept = std::exp(std::clamp(rate * dt, -5.0, 5.0));
            const double lasted = std::abs(rate) > 1e-9 ? (kept - 1) / rate : dt;
            p = kept * p + lasted * push;
            const double into = lasted * q; // of the drift into p
            of_p = kept * kept * of_p + 2 * kept * into * of_both + into * into * of_drift + drive * q * q * dt;
            of_both = kept * of_both + into * of_drift;
            of_drift += walk * dt;
            const double total = of_p + 1, off = b.rate - p;
            out[at++] = off / std::sqrt(total);
            logs += std::log(total);
            const double gain_p = of_p / total, gain_drift = of_both / total;
            p += gain_p * off;
            drift += gain_drift * off;
            of_drift -= gain_drift * of_both;
            of_both -= gain_p * of_both;
            of_p *= 1 - gain_p;
        }
        const double mean_sigma = std::exp(0.5 * logs / static_cast<double>(innovations_));
        if (level != nullptr) *level = mean_sigma;
        return mean_sigma * out;
    }

    [[nodiscard]] std::size_t size() const { return samples_.size(); }
    [[nodiscard]] Eigen::Index innovations() const { return innovations_; }
    [[nodiscard]] double fin_moves() const { return fin_moves_; }
    [[nodiscard]] double q_pa() const { return q_pa_; }
    [[nodiscard]] double speed_mps() const { return speed_mps_; }
    [[nodiscard]] double rate_moves() const {
        std::vector<double> rates;
        for (const RollSample& s : samples_) rates.push_back(s.rate);
        return summarise(rates).sd;
    }

  private:
    [[nodiscard]] double fin_at(double t_s, std::size_t& near) const {
        while (near + 1 < samples_.size() && samples_[near + 1].t_s <= t_s) ++near;
        while (near > 0 && samples_[near].t_s > t_s) --near;
        const RollSample& a = samples_[near];
        if (t_s <= a.t_s || near + 1 == samples_.size()) return a.fin;
        const RollSample& b = samples_[near + 1];
        return a.fin + (t_s - a.t_s) / (b.t_s - a.t_s) * (b.fin - a.fin);
    }

    std::vector<RollSample> samples_;
    double q_pa_ = kNone, speed_mps_ = kNone, fin_moves_ = kNone;
    Eigen::Index innovations_ = 0;
};

struct RollFit {
    Fit fit;
    double drive = 0;
    double cost = 0;  ///< sum of squares: least where the likelihood is greatest
    double noise = 0; ///< 1-sigma of the measured rate
};

RollFit fit_with(const RollFilter& filter, double drive, const Eigen::VectorXd& start, int steps) {
    const Eigen::Vector4d scale(std::max(0.5, std::abs(start[0])), std::max(1.0, std::abs(start[1])),
                                std::max(1.0, std::abs(start[2])), 0.02);
    RollFit out;
    out.drive = drive;
    out.fit = fit_model(
        [&](const Eigen::VectorXd& by) {
            // A delay beyond what any actuator has is pushed back, so that a flat stretch cannot run away with it.
            Eigen::VectorXd within = by;
            within[3] = std::clamp(by[3], -kDelayMost_s, kDelayMost_s);
            return filter.run(within, drive);
        },
        start, scale, steps);
    double level = 1;
    out.cost = filter.run(out.fit.estimate, drive, &level).squaredNorm();
    out.noise = std::sqrt(out.cost / static_cast<double>(filter.innovations())) / level;
    return out;
}

} // namespace

RollDynamics identify_roll(const RollRecord& record, const RollScales& scales) {
    RollDynamics out;
    const RollFilter filter(record);
    out.samples = filter.size();
    out.reference_q_pa = filter.q_pa();
    out.reference_speed_mps = filter.speed_mps();
    out.fin_moves_rad = filter.fin_moves();
    Fit none{};
    none.estimate = Eigen::Vector4d::Zero();
    if (filter.innovations() <= 4 || !(filter.fin_moves() > kFinLeast_rad)) {
        none.residuals = Eigen::VectorXd::Zero(filter.innovations());
        out.verdict = judge(none, kNone, kNone, filter.fin_moves(), kFinLeast_rad);
        return out;
    }
    // From a coarse look at the drive's share to a fine one; each fit starts from the one before.
    Eigen::VectorXd start = Eigen::Vector4d(-1, filter.rate_moves() / filter.fin_moves(), 0, 0);
    RollFit best = fit_with(filter, 1.0, start, 30);
    for (const double drive : {100.0, 10.0, 0.1, 1e-2, 1e-4, 0.0}) {
        RollFit one = fit_with(filter, drive, best.fit.estimate, 12);
        if (one.cost < best.cost) best = std::move(one);
    }
    for (double ratio = 3; ratio > 1.1 && best.drive > 0; ratio = std::sqrt(ratio))
        for (const double factor : {ratio, 1 / ratio}) {
            RollFit one = fit_with(filter, best.drive * factor, best.fit.estimate, 6);
            if (one.cost < best.cost) best = std::move(one);
        }
    best = fit_with(filter, best.drive, best.fit.estimate, 40);

    const Fit& fit = best.fit;
    out.lp_per_s = fit.estimate[0];
    out.ld_per_s2 = fit.estimate[1];
    out.l0_radps2 = fit.estimate[2];
    out.delay_s = fit.estimate[3];
    out.residual_radps = best.noise;
    double lp_half = kNone, ld_half = kNone;
    if (fit.covariance.size() > 0) {
        const auto lags =
            static_cast<Eigen::Index>(4 * std::pow(static_cast<double>(fit.residuals.size()) / 100, 2.0 / 9));
        const Eigen::MatrixXd covariance = robust_covariance(fit, lags);
        const auto half = [&](Eigen::Index i, double scale) {
            return fit.quantile() * std::hypot(std::sqrt(covariance(i, i)), scale * fit.estimate[i]);
        };
        lp_half = half(0, scales.pressure_over_speed);
        ld_half = half(1, std::hypot(scales.rate, scales.fin, scales.dynamic_pressure));
        out.delay_sigma_s = std::sqrt(covariance(3, 3));
        out.lp_interval = {out.lp_per_s - lp_half, out.lp_per_s + lp_half};
        out.ld_interval = {out.ld_per_s2 - ld_half, out.ld_per_s2 + ld_half};
    }
    out.verdict = judge(fit, lp_half, ld_half, filter.fin_moves(), kFinLeast_rad);
    return out;
}

} // namespace turnstone::analysis
