#include "server/analysis/identify/oscillation.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include <Eigen/LU>

#include <fmt/format.h>

namespace turnstone::analysis {

namespace {

constexpr double kSwingGap_s = 0.1;
constexpr double kFinDelayMost_s = 0.2;
/// What the model of damping leaves out (gravity's turn of a slow flight path, the fins' side force, gusts that are not
/// white), relative, 1-sigma; from simulated flights with the errors "tuning", seeds below 1000.
constexpr double kSwingDampingModel = 0.05;
/// Scale errors of the rate sensor and of what measures the deflections, 1 % each.
constexpr double kFinEffectScales = 0.014;
constexpr double kSwingStep_s = 0.008; ///< samples closer than this to the one before add work, not knowledge
constexpr double kAngleAtStart_rad = 0.1, kPathTurn_radps = 0.1;
constexpr double kPathTurnWalk_radps_rts = 0.01;
/// A frequency known no better than this, 95 % half-width over it, is not printed; common practice, no source.
constexpr double kFrequencyWidthMost = 0.25, kSwingDampingWidthMost = 1.0;

using State = Eigen::Matrix<double, 6, 1>; ///< a_y, w_y, a_z, w_z, g_y, g_z
using Square = Eigen::Matrix<double, 6, 6>;

struct SwingSample {
    double t_s, roll, pitch, yaw, pressure, pressure_over_speed, pitch_fin, yaw_fin;
};

enum Parameter : Eigen::Index {
    kStiff_y,
    kDamp_y,
    kOffset_y,
    kStiff_z,
    kDamp_z,
    kOffset_z,
    kLeak_y,
    kLeak_z,
    kFin_y,
    kFin_z,
    kDelay,
    kParameters
};

class SwingFilter {
  public:
    explicit SwingFilter(const SwingRecord& record) {
        const auto fin = [](std::span<const double> column, std::size_t i) {
            return i < column.size() ? column[i] : 0;
        };
        double pressure = 0, speed = 0;
        std::vector<double> rolls, fins_y, fins_z;
        const std::size_t count =
            std::min({record.t_s.size(), record.roll_radps.size(), record.pitch_radps.size(), record.yaw_radps.size(),
                      record.dynamic_pressure_pa.size(), record.airspeed_mps.size()});
        for (std::size_t i = 0; i < count; ++i) {
            const SwingSample s{record.t_s[i],
                                record.roll_radps[i],
                                record.pitch_radps[i],
                                record.yaw_radps[i],
                                record.dynamic_pressure_pa[i],
                                record.dynamic_pressure_pa[i] / record.airspeed_mps[i],
                                fin(record.pitch_fin_rad, i),
                                fin(record.yaw_fin_rad, i)};
            if (!std::isfinite(s.t_s + s.roll + s.pitch + s.yaw + s.pressure + s.pressure_over_speed + s.pitch_fin +
                               s.yaw_fin))
                continue;
            if (!samples_.empty() && s.t_s < samples_.back().t_s + kSwingStep_s) continue;
            samples_.push_back(s);
            pressure += s.pressure;
            speed += record.airspeed_mps[i];
            rolls.push_back(s.roll);
            fins_y.push_back(s.pitch_fin);
            fins_z.push_back(s.yaw_fin);
        }
        if (samples_.empty()) return;
        const auto n = static_cast<double>(samples_.size());
        q_pa_ = pressure / n;
        speed_mps_ = speed / n;
        for (SwingSample& s : samples_) {
            s.pressure /= q_pa_;
            s.pressure_over_speed *= speed_mps_ / q_pa_;
        }
        constexpr double kStill_rad = 0.001;
        constexpr double kSteadyRoll_radps = 0.2;
        rolls_ = summarise(rolls).sd > kSteadyRoll_radps;
        moves_y_ = summarise(fins_y).sd > kStill_rad;
        moves_z_ = summarise(fins_z).sd > kStill_rad;
        for (std::size_t i = 1; i < samples_.size(); ++i)
            if (samples_[i].t_s - samples_[i - 1].t_s < kSwingGap_s) innovations_ += 2;
    }

    /// Innovations of both rates over their relative sigmas; the measurement's variance counts 1, that of the angle's
    /// disturbance `drive` per second, that of the path's turn stays as it is over `noise`, the measurement's true one.
    /// All are times `level`, as in roll.cpp.
    [[nodiscard]] Eigen::VectorXd run(const Eigen::VectorXd& by, double drive, double noise,
                                      double* level = nullptr) const {
        Eigen::VectorXd out(innovations_);
        Eigen::Index at = 0;
        std::size_t near = 0;
        double logs = 0;
        State x = State::Zero();
        Square p = Square::Zero();
        const auto begin = [&](const SwingSample& s) {
            x << 0, s.pitch - by[kLeak_y] * s.roll, 0, s.yaw - by[kLeak_z] * s.roll, 0, 0;
            const double angle = kAngleAtStart_rad * kAngleAtStart_rad / noise;
            const double turn = kPathTurn_radps * kPathTurn_radps / noise;
            p = State(angle, 1, angle, 1, turn, turn).asDiagonal();
        };
        begin(samples_.front());
        for (std::size_t i = 1; i < samples_.size(); ++i) {
            const SwingSample &a = samples_[i - 1], &b = samples_[i];
            const double dt = b.t_s - a.t_s;
            if (dt >= kSwingGap_s) {
                begin(b);
                continue;
            }
            const double q = 0.5 * (a.pressure + b.pressure);
            const double damp = 0.5 * (a.pressure_over_speed + b.pressure_over_speed);
            const double roll = 0.5 * (a.roll + b.roll);
            Square f = Square::Zero();
            f(0, 1) = f(2, 3) = 1;
            f(0, 4) = f(2, 5) = -1;
            f(1, 0) = -by[kStiff_y] * q;
            f(1, 1) = -by[kDamp_y] * damp;
            f(3, 2) = -by[kStiff_z] * q;
            f(3, 3) = -by[kDamp_z] * damp;
            for (const Eigen::Index k : {0, 1}) { // the axes turn with the body
                f(k, k + 2) += roll;
                f(k + 2, k) -= roll;
            }
            f(4, 5) = roll;
            f(5, 4) = -roll;
            State push = State::Zero();
            const double fins_s = a.t_s + 0.5 * dt - std::clamp(by[kDelay], -kFinDelayMost_s, kFinDelayMost_s);
            const auto [pitch_fin, yaw_fin] = fins_at(fins_s, near);
            push[1] = q * (by[kOffset_y] + by[kFin_y] * pitch_fin);
            push[3] = q * (by[kOffset_z] + by[kFin_z] * yaw_fin);
            const Square step = dt * f, square = step * step;
            const Square over = Square::Identity() + step + square / 2 + square * step / 6 + square * square / 24;
            x = over * x + (Square::Identity() + step / 2 + square / 6) * push * dt;
            p = over * p * over.transpose();
            p(0, 0) += drive * dt;
            p(2, 2) += drive * dt;
            // The angle's disturbance within the step reaches the rate.
            for (const Eigen::Index k : {0, 2}) {
                p(k, k + 1) += 0.5 * f(k + 1, k) * drive * dt * dt;
                p(k + 1, k) += 0.5 * f(k + 1, k) * drive * dt * dt;
                p(k + 1, k + 1) += f(k + 1, k) * f(k + 1, k) * drive * dt * dt * dt / 3;
            }
            const double walk = kPathTurnWalk_radps_rts * kPathTurnWalk_radps_rts / noise * dt;
            p(4, 4) += walk;
            p(5, 5) += walk;
            const double measured[2] = {b.pitch - by[kLeak_y] * b.roll, b.yaw - by[kLeak_z] * b.roll};
            for (const Eigen::Index k : {0, 1}) { // one rate after the other: their noises are independent
                const Eigen::Index rate = 2 * k + 1;
                const double total = p(rate, rate) + 1, off = measured[k] - x[rate];
                out[at++] = off / std::sqrt(total);
                logs += std::log(total);
                const State gain = p.col(rate) / total;
                x += gain * off;
                p -= gain * p.row(rate).eval();
            }
        }
        const double mean_sigma = std::exp(0.5 * logs / static_cast<double>(innovations_));
        if (level != nullptr) *level = mean_sigma;
        return mean_sigma * out;
    }

    [[nodiscard]] std::size_t size() const { return samples_.size(); }
    [[nodiscard]] Eigen::Index innovations() const { return innovations_; }
    [[nodiscard]] double q_pa() const { return q_pa_; }
    [[nodiscard]] double speed_mps() const { return speed_mps_; }
    [[nodiscard]] bool rolls() const { return rolls_; }
    [[nodiscard]] bool moves_y() const { return moves_y_; }
    [[nodiscard]] bool moves_z() const { return moves_z_; }

  private:
    /// Deflections at a time, in straight lines; `near` is where the last call found its place.
    [[nodiscard]] std::pair<double, double> fins_at(double t_s, std::size_t& near) const {
        while (near + 1 < samples_.size() && samples_[near + 1].t_s <= t_s) ++near;
        while (near > 0 && samples_[near].t_s > t_s) --near;
        const SwingSample& a = samples_[near];
        if (t_s <= a.t_s || near + 1 == samples_.size()) return {a.pitch_fin, a.yaw_fin};
        const SwingSample& b = samples_[near + 1];
        const double part = (t_s - a.t_s) / (b.t_s - a.t_s);
        return {a.pitch_fin + part * (b.pitch_fin - a.pitch_fin), a.yaw_fin + part * (b.yaw_fin - a.yaw_fin)};
    }

    std::vector<SwingSample> samples_;
    double q_pa_ = kNone, speed_mps_ = kNone;
    bool rolls_ = false, moves_y_ = false, moves_z_ = false;
    Eigen::Index innovations_ = 0;
};

/// The parameters that the record can tell of: those of fins only where they moved.
struct Told {
    const SwingFilter* filter;
    std::vector<Eigen::Index> which;

    [[nodiscard]] Eigen::VectorXd all(const Eigen::VectorXd& told) const {
        Eigen::VectorXd out = Eigen::VectorXd::Zero(kParameters);
        for (std::size_t i = 0; i < which.size(); ++i) out[which[i]] = told[static_cast<Eigen::Index>(i)];
        return out;
    }
    [[nodiscard]] Eigen::VectorXd some(const Eigen::VectorXd& all_of_them) const {
        Eigen::VectorXd out(static_cast<Eigen::Index>(which.size()));
        for (std::size_t i = 0; i < which.size(); ++i) out[static_cast<Eigen::Index>(i)] = all_of_them[which[i]];
        return out;
    }
    [[nodiscard]] Eigen::Index place(Eigen::Index parameter) const {
        return std::ranges::find(which, parameter) - which.begin();
    }
};

struct SwingFit {
    Fit fit;
    double drive = 0, noise = 1e-4;
    double cost = std::numeric_limits<double>::infinity();
};

/// With `free_drive` the disturbance's size is a parameter too, the last: it resembles stiffness and damping in what it
/// does to the rates, and intervals of those would be too narrow if it counted as known.
SwingFit swing_fit(const Told& told, double drive, double noise, const Eigen::VectorXd& start, int steps,
                   bool free_drive = false) {
    Eigen::VectorXd scale = Eigen::VectorXd::Zero(kParameters);
    scale << std::abs(start[kStiff_y]), std::max(1.0, std::abs(start[kDamp_y])), 1.0, std::abs(start[kStiff_z]),
        std::max(1.0, std::abs(start[kDamp_z])), 1.0, 0.02, 0.02, 10.0, 10.0, 0.02;
    const auto count = static_cast<Eigen::Index>(told.which.size());
    Eigen::VectorXd from(count + (free_drive ? 1 : 0)), much(from.size());
    from.head(count) = told.some(start);
    much.head(count) = told.some(scale);
    if (free_drive) {
        from[count] = std::log(drive);
        much[count] = 1;
    }
    const auto drive_of = [&](const Eigen::VectorXd& by) { return by.size() > count ? std::exp(by[count]) : drive; };
    SwingFit out;
    out.fit = fit_model([&](const Eigen::VectorXd& by) { return told.filter->run(told.all(by), drive_of(by), noise); },
                        from, much, steps);
    out.drive = drive_of(out.fit.estimate);
    double level = 1;
    out.cost = told.filter->run(told.all(out.fit.estimate), out.drive, noise, &level).squaredNorm();
    const double mean_square = out.cost / static_cast<double>(told.filter->innovations());
    out.noise = std::clamp(mean_square / (level * level), 1e-8, 1.0);
    return out;
}

/// The likeliest natural frequency of a coarse row of them, both axes alike.
Eigen::VectorXd coarse_start(const Told& told) {
    Eigen::VectorXd best;
    double least = std::numeric_limits<double>::infinity();
    for (double natural_hz = 0.3; natural_hz < 20; natural_hz *= 1.25)
        for (const double drive : {0.1, 10.0}) {
            const double w = 2 * std::numbers::pi * natural_hz;
            Eigen::VectorXd one = Eigen::VectorXd::Zero(kParameters);
            one[kStiff_y] = one[kStiff_z] = w * w;
            one[kDamp_y] = one[kDamp_z] = 0.3 * w;
            const double cost = told.filter->run(one, drive, 1e-4).squaredNorm();
            if (cost < least) {
                least = cost;
                best = one;
            }
        }
    return best;
}

/// Natural frequency and damping out of k and c, with what their scatter means for both.
Swing swing_of(const SwingFit& best, const Told& told, const Eigen::MatrixXd& covariance, Parameter stiff,
               double dynamic_pressure) {
    Swing out;
    const Eigen::VectorXd by = told.all(best.fit.estimate);
    const double k = by[stiff], c = by[stiff + 1];
    if (!(k > 0) || covariance.size() == 0) {
        out.verdict.why = k > 0
                              ? "not identifiable: the record does not show how the vehicle swings back"
                              : "not identifiable: nothing brings the long axis back to the air; no natural frequency";
        return out;
    }
    const Eigen::Index at_k = told.place(stiff), at_c = told.place(stiff + 1);
    const double w = std::sqrt(k), quantile = best.fit.quantile();
    out.natural_hz = w / (2 * std::numbers::pi);
    out.damping = c / (2 * w);
    const double natural_sigma = std::hypot(out.natural_hz * std::sqrt(covariance(at_k, at_k)) / (2 * k),
                                            0.5 * dynamic_pressure * out.natural_hz);
    const Eigen::Vector2d slope(-c / (4 * w * k), 1 / (2 * w));
    Eigen::Matrix2d pair;
    pair << covariance(at_k, at_k), covariance(at_k, at_c), covariance(at_c, at_k), covariance(at_c, at_c);
    const double damping_sigma = std::hypot(std::sqrt(slope.dot(pair * slope)), kSwingDampingModel * out.damping);
    out.natural_hz_interval = {out.natural_hz - quantile * natural_sigma, out.natural_hz + quantile * natural_sigma};
    out.damping_interval = {out.damping - quantile * damping_sigma, out.damping + quantile * damping_sigma};
    const double frequency_width = quantile * natural_sigma / out.natural_hz;
    const double damping_width = quantile * damping_sigma / std::abs(out.damping);
    out.verdict.identifiable = frequency_width <= kFrequencyWidthMost && damping_width <= kSwingDampingWidthMost;
    if (!out.verdict.identifiable)
        out.verdict.why =
            frequency_width > kFrequencyWidthMost
                ? fmt::format("not identifiable: too little motion; the 95 % half-width of the natural frequency is "
                              "{:.0f} % of it, at most {:.0f} % counts",
                              100 * frequency_width, 100 * kFrequencyWidthMost)
                : fmt::format("not identifiable: too little motion; the 95 % half-width of the damping is {:.0f} % of "
                              "it, at most {:.0f} % counts",
                              100 * damping_width, 100 * kSwingDampingWidthMost);
    const Eigen::Index at_fin = told.place(stiff == kStiff_y ? kFin_y : kFin_z);
    if (at_fin < static_cast<Eigen::Index>(told.which.size())) {
        out.fin_effect_per_s2 = best.fit.estimate[at_fin];
        const double scales = std::hypot(dynamic_pressure, kFinEffectScales);
        const double half =
            quantile * std::hypot(std::sqrt(covariance(at_fin, at_fin)), scales * out.fin_effect_per_s2);
        out.fin_effect_interval = {out.fin_effect_per_s2 - half, out.fin_effect_per_s2 + half};
    }
    return out;
}

} // namespace

SwingDynamics identify_swing(const SwingRecord& record, double dynamic_pressure,
                             const std::function<bool(double)>& go_on) {
    SwingDynamics out;
    const SwingFilter filter(record);
    out.samples = filter.size();
    out.reference_q_pa = filter.q_pa();
    out.reference_speed_mps = filter.speed_mps();
    Told told{&filter, {kStiff_y, kDamp_y, kOffset_y, kStiff_z, kDamp_z, kOffset_z}};
    if (filter.rolls())
        for (const Eigen::Index leak : {kLeak_y, kLeak_z}) told.which.push_back(leak);
    if (filter.moves_y()) told.which.push_back(kFin_y);
    if (filter.moves_z()) told.which.push_back(kFin_z);
    if (filter.moves_y() || filter.moves_z()) told.which.push_back(kDelay);
    constexpr Eigen::Index kInnovationsLeast = 100;
    if (filter.innovations() < kInnovationsLeast) {
        out.pitch.verdict.why = out.yaw.verdict.why =
            fmt::format("not identifiable: {} values of pitch and yaw rate, at least {} are needed",
                        filter.innovations(), kInnovationsLeast);
        return out;
    }
    double done = 0;
    const auto ended = [&] {
        done += 0.1;
        if (!go_on || go_on(std::min(done, 1.0))) return false;
        out.pitch.verdict.why = out.yaw.verdict.why = "stopped";
        return true;
    };
    SwingFit best = swing_fit(told, 1.0, 1e-4, coarse_start(told), 12);
    for (double drive = 1e-3; drive < 2e4; drive *= 10) {
        if (ended()) return out;
        SwingFit one = swing_fit(told, drive, best.noise, told.all(best.fit.estimate), 6);
        if (one.cost < best.cost) best = std::move(one);
    }
    if (ended()) return out;
    best = swing_fit(told, best.drive, best.noise, told.all(best.fit.estimate), 25, true);
    out.pitch = swing_of(best, told, best.fit.covariance, kStiff_y, dynamic_pressure);
    out.yaw = swing_of(best, told, best.fit.covariance, kStiff_z, dynamic_pressure);
    return out;
}

StaticMargin static_margin(const Swing& swing, double reference_q_pa, double reference_speed_mps,
                           const StaticMarginNeeds& needs) {
    StaticMargin out;
    const std::pair<double, const char*> wanted[] = {
        {needs.inertia_kg_m2, "the transverse moment of inertia"},
        {needs.mass_kg, "the mass"},
        {needs.area_m2, "the reference area"},
        {needs.normal_force_slope_per_rad, "the normal force slope"},
    };
    for (const auto& [value, name] : wanted)
        if (!(value > 0)) {
            out.why =
                fmt::format("no static margin: {} is not known; give it with the request or in vehicle.json", name);
            return out;
        }
    if (!swing.verdict.identifiable) {
        out.why = "no static margin: the natural frequency is not identifiable";
        return out;
    }
    const double force_n = reference_q_pa * needs.area_m2 * needs.normal_force_slope_per_rad; // per radian
    const double path_per_s = force_n / (needs.mass_kg * reference_speed_mps);
    const auto margin = [&](double natural_hz) {
        const double w = 2 * std::numbers::pi * natural_hz;
        const double rate_per_s = 2 * swing.damping * w - path_per_s;
        return (w * w - path_per_s * rate_per_s) * needs.inertia_kg_m2 / force_n;
    };
    out.value_m = margin(swing.natural_hz);
    out.interval_m = {margin(swing.natural_hz_interval.low), margin(swing.natural_hz_interval.high)};
    return out;
}

} // namespace turnstone::analysis
