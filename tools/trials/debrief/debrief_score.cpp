#include "tools/trials/debrief/debrief_score.hpp"

#include <filesystem>
#include <optional>
#include <stdexcept>
#include <string>
#include <thread>

#include <nlohmann/json.hpp>
#include <unistd.h>

#include "server/debrief/response/control_response.hpp"
#include "server/estimate/math/rotation.hpp"
#include "server/estimate/navigation/navigation.hpp"
#include "shared/geodesy.hpp"
#include "tools/trials/debrief/steered_flight.hpp"
#include "tools/trials/trial.hpp"

namespace turnstone::trials {

namespace {

/// Of the difference of velocities that gives the true acceleration.
constexpr double kApart_s = 0.1;
constexpr std::int64_t kApart_ns = 100'000'000;

std::array<Judged, 2>& at(DebriefScore& score, DebriefFigure figure, std::size_t after = 0) {
    return score.found.at(static_cast<std::size_t>(figure) + after);
}

Judged judged(const analysis::Found& found, double truth) {
    return {found.value, found.interval.low, found.interval.high, truth};
}

Judged judged(const nlohmann::json& value, const nlohmann::json& interval, double truth) {
    if (interval.is_null()) return {};
    return {value.get<double>(), interval[0].get<double>(), interval[1].get<double>(), truth};
}

Judged drag_at(const analysis::DragCurve& drag, const sim::FlightSetup& truth, double mach) {
    if (drag.mach.size() < 2 || mach < drag.mach.front() || mach > drag.mach.back()) return {};
    std::size_t above = 1;
    while (drag.mach[above] < mach) ++above;
    const double part = (mach - drag.mach[above - 1]) / (drag.mach[above] - drag.mach[above - 1]);
    const auto between = [&](const std::vector<double>& values) {
        return values[above - 1] + part * (values[above] - values[above - 1]);
    };
    return {between(drag.cd), between(drag.low), between(drag.high), truth.drag_coefficient.at(mach)};
}

void judge_performance(const sim::Scenario& scenario, std::uint64_t seed, const Debriefed& flight, DebriefScore& out) {
    using enum DebriefFigure;
    if (flight.liftoff_ns == 0) return;
    const sim::FlightSetup truth = sim::make_setup(scenario, seed);
    const RocketModel& rocket = *scenario.vehicle.rocket;
    const debrief::Performance found = debrief::performance_of(
        flight.record, rocket, scenario.vehicle.sensors,
        normal_gravity_mps2(scenario.site.pad.latitude_deg, scenario.site.pad.height_m), debrief::masses_of(rocket));
    at(out, drag_slow)[0] = drag_at(found.drag, truth, 0.2);
    at(out, drag_fast)[0] = drag_at(found.drag, truth, 0.4);
    at(out, impulse)[0] = judged(found.thrust.impulse_n_s, truth.thrust_n.integral());
    for (std::size_t k = 0; k < 2; ++k) {
        at(out, drogue_area, k)[0] = judged(found.parachutes[k].area_m2, truth.parachutes[k].drag_area_m2);
        const auto& ejections = flight.flight.truth.events.ejections;
        const bool came_out = k < ejections.size() && std::isfinite(ejections[k].t_s);
        at(out, drogue_delay, k)[0] =
            judged(found.parachutes[k].opening_s, came_out ? truth.parachutes[k].delay_s : NAN);
    }
}

double true_value(const sim::TruthSample& truth, std::string_view key) {
    if (key == "altitude_m") return truth.position_enu_m.z();
    if (key == "vertical_speed_mps") return truth.velocity_enu_mps.z();
    if (key == "east_m") return truth.position_enu_m.x();
    if (key == "north_m") return truth.position_enu_m.y();
    if (key == "velocity_east_mps") return truth.velocity_enu_mps.x();
    if (key == "velocity_north_mps") return truth.velocity_enu_mps.y();
    return NAN;
}

/// Between burnout and apogee, where it changes slowly; that under a motor is not of one moment.
double true_acceleration(const Debriefed& flight, std::int64_t t_ns) {
    const auto& events = flight.flight.truth.events;
    const double at_s = seconds_between(kStart_ns, t_ns) - flight.late_s;
    if (at_s < events.burnout_s + 1 || at_s > events.apogee_s - 1) return NAN;
    return (flight.truth_at(t_ns + kApart_ns).velocity_enu_mps.z() -
            flight.truth_at(t_ns - kApart_ns).velocity_enu_mps.z()) /
           (2 * kApart_s);
}

void judge_smoothed(const Debriefed& flight, DebriefScore& out) {
    for (const debrief::SmoothedSeries& series : flight.smoothed)
        for (std::size_t q = 0; q < kSmoothed.size(); ++q) {
            if (series.key != std::string_view(kSmoothed[q])) continue;
            SmoothedErrors& errors = out.smoothed[q];
            for (std::size_t i = 0; i < series.t_ns.size(); ++i) {
                errors.worse += series.sigma[i] > series.filter_sigma[i] * (1 + 1e-6);
                const double truth = std::string_view(series.key) == "acceleration_mps2"
                                         ? true_acceleration(flight, series.t_ns[i])
                                         : true_value(flight.truth_at(series.t_ns[i]), series.key);
                errors.filter.add(series.filter_value[i] - truth, series.filter_sigma[i]);
                errors.both.add(series.value[i] - truth, series.sigma[i]);
            }
        }
}

/// Among those of a phase each.
std::optional<std::size_t> place_of(sim::TruePhase phase) {
    using enum sim::TruePhase;
    switch (phase) {
    case on_the_rail: return 0;
    case under_thrust: return 1;
    case coasting:
    case falling: return 2;
    case under_drogue: return 3;
    case under_main: return 4;
    case on_the_stand:
    case down: break;
    }
    return std::nullopt;
}

void add_tilt(const estimate::AttitudeAt& found, const Eigen::Quaterniond& truth, Errors& errors) {
    const estimate::Tilt tilt = estimate::tilt_of(found.q_local_body, found.covariance_rad2);
    const Eigen::Vector3d nose = truth * Eigen::Vector3d::UnitX();
    errors.add(tilt.rad - std::atan2(std::hypot(nose.x(), nose.y()), nose.z()), tilt.sigma_rad);
}

void add_attitude(const estimate::AttitudeAt& found, const Eigen::Quaterniond& truth, Errors& errors) {
    const Eigen::Vector3d off = estimate::rotation_vector_from_quaternion(found.q_local_body.conjugate() * truth);
    const double square = off.dot(found.covariance_rad2.ldlt().solve(off)) / 3;
    errors.add(off.norm(), off.norm() / std::sqrt(square));
}

void judge_attitude(const Debriefed& flight, DebriefScore& out) {
    for (const auto& [both, said] : flight.attitude) {
        const sim::TruthSample truth = flight.truth_at(both.t_ns);
        const auto place = place_of(truth.phase);
        if (!place) continue;
        SmoothedErrors& tilt = out.smoothed.at(kTiltSmoothed + *place);
        tilt.worse += estimate::tilt_of(both.q_local_body, both.covariance_rad2).sigma_rad >
                      estimate::tilt_of(said.q_local_body, said.covariance_rad2).sigma_rad * (1 + 1e-6);
        add_tilt(said, truth.q_local_body, tilt.filter);
        add_tilt(both, truth.q_local_body, tilt.both);
        SmoothedErrors& errors = out.smoothed.at(kAttitudeSmoothed + *place);
        errors.worse += both.covariance_rad2.trace() > said.covariance_rad2.trace() * (1 + 1e-6);
        add_attitude(said, truth.q_local_body, errors.filter);
        add_attitude(both, truth.q_local_body, errors.both);
    }
}

DebriefScore nominal_score(const sim::Scenario& scenario, std::uint64_t seed) {
    DebriefScore out;
    const Debriefed flight = debriefed(scenario, seed);
    judge_performance(scenario, seed, flight, out);
    judge_smoothed(flight, out);
    judge_attitude(flight, out);
    return out;
}

/// For one flight's recording.
class ScratchFolder {
  public:
    explicit ScratchFolder(std::uint64_t seed)
        : path_(std::filesystem::temp_directory_path() /
                ("turnstone-debrief-" + std::to_string(::getpid()) + "-" + std::to_string(seed))) {
        std::filesystem::create_directory(path_);
    }
    ~ScratchFolder() {
        std::error_code ignored;
        std::filesystem::remove_all(path_, ignored);
    }
    ScratchFolder(const ScratchFolder&) = delete;
    ScratchFolder& operator=(const ScratchFolder&) = delete;
    [[nodiscard]] const std::filesystem::path& path() const { return path_; }

  private:
    std::filesystem::path path_;
};

DebriefScore logging_score(const sim::Scenario& scenario, std::uint64_t seed) {
    using enum DebriefFigure;
    DebriefScore out;
    const ScratchFolder folder(seed);
    const SteeredFlight flight = record_steered(folder.path(), scenario, seed);
    const auto answer =
        debrief::control_response(flight.recordings, {{"flight", flight.id}}, [](double) { return true; });
    if (!answer) throw std::runtime_error("seed " + std::to_string(seed) + ": " + answer.error().message);
    if (const nlohmann::json& roll = answer->at("roll"); roll.at("identifiable").get<bool>()) {
        const TrueDynamics truth(flight, roll.at("reference_q_pa"), roll.at("reference_speed_mps"));
        at(out, roll_damping)[0] = judged(roll.at("lp"), roll.at("lp_interval"), truth.lp_per_s);
        at(out, roll_effect)[0] = judged(roll.at("ld"), roll.at("ld_interval"), truth.ld_per_s2);
    }
    for (std::size_t k = 0; k < 2; ++k) {
        const nlohmann::json& swing = answer->at(k == 0 ? "pitch" : "yaw");
        if (!swing.at("identifiable").get<bool>()) continue;
        const TrueDynamics truth(flight, swing.at("reference_q_pa"), swing.at("reference_speed_mps"));
        at(out, natural_frequency)[k] =
            judged(swing.at("natural_hz"), swing.at("natural_hz_interval"), truth.natural_hz);
        at(out, damping)[k] = judged(swing.at("damping"), swing.at("damping_interval"), truth.damping);
        at(out, fin_effect)[k] =
            judged(swing.at("fin_effect_per_s2"), swing.at("fin_effect_interval"), truth.fin_effect_per_s2);
        at(out, static_margin)[k] = judged(swing.at("static_margin_m"), swing.at("static_margin_interval"),
                                           flight.setup.airframe.static_margin_m);
    }
    return out;
}

} // namespace

std::vector<DebriefScore> debrief_scores(DebriefedFlights kind, std::uint64_t first, int count) {
    const std::string errors = first < 1000 ? "tuning" : "acceptance";
    const bool is_nominal = kind == DebriefedFlights::nominal;
    const sim::Scenario scenario = is_nominal ? trial_scenario("nominal", "mild", errors) : steered_scenario(errors);
    std::vector<DebriefScore> scores(static_cast<std::size_t>(count));
    const unsigned workers = std::max(1U, std::thread::hardware_concurrency());
    std::vector<std::jthread> threads;
    for (unsigned worker = 0; worker < workers; ++worker)
        threads.emplace_back([&, worker] {
            for (std::size_t k = worker; k < scores.size(); k += workers)
                scores[k] = is_nominal ? nominal_score(scenario, first + k) : logging_score(scenario, first + k);
        });
    threads.clear();
    return scores;
}

Coverage coverage_of(DebriefFigure figure, const std::vector<DebriefScore>& scores) {
    std::vector<Judged> answers;
    for (const DebriefScore& score : scores)
        for (int k = 0; k < demand_of(figure).answers; ++k)
            answers.push_back(score.found.at(static_cast<std::size_t>(figure)).at(static_cast<std::size_t>(k)));
    return coverage_of(figure, answers);
}

SmoothedErrors smoothed_errors(std::size_t series, const std::vector<DebriefScore>& scores) {
    SmoothedErrors all;
    for (const DebriefScore& score : scores) all.add(score.smoothed.at(series));
    return all;
}

} // namespace turnstone::trials
