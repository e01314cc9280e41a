#include "tools/trials/scorer.hpp"

#include <algorithm>
#include <numbers>

#include "server/pipeline/events.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone::trials {

using Eigen::Vector3d;

namespace {

constexpr double kDegree = 180 / std::numbers::pi;
const std::string kFolder = "sanderling/estimate/";

std::string key_of(EventId id) {
    return make_event({.id = id, .t_ns = 0}, 0, {.index = 0, .name = "sanderling"}).key;
}

double turned(double degrees) {
    return std::remainder(degrees, 360.0);
}

} // namespace

Scorer::Scorer(const sim::FlightResult& flight, const sim::Scenario& scenario, const Schema& schema)
    : flight_(&flight), schema_(&schema), station_enu_m_(LocalFrame(scenario.site.pad).to_enu_m(scenario.site.station)),
      charges_fire_(scenario.charges_fire), drogue_late_(scenario.drogue_late_s > 0) {
    for (const Table& table : schema.tables) {
        tables_[table.name] = table.id;
        auto& columns = columns_.emplace_back();
        for (std::size_t c = 0; c < table.number_count; ++c) columns[table.columns[c].name] = c;
    }
    const sim::FlightEvents& e = flight.truth.events;
    if (scenario.kind == sim::RunKind::flight) {
        const auto ejection = [&](std::size_t k) { return k < e.ejections.size() ? e.ejections[k].t_s : NAN; };
        flight_events_true_s_ = {e.liftoff_s, e.burnout_s, e.apogee_s, ejection(0), ejection(1), e.touchdown_s};
    }
    for (std::size_t m = 0; m < kFlightEvents.size(); ++m)
        score_.flight_events[m].happened = std::isfinite(flight_events_true_s_[m]);
    score_.charges = static_cast<int>(e.ejections.size());
    if (scenario.kind != sim::RunKind::flight || !std::isfinite(e.apogee_s)) return;
    score_.true_apogee_m = e.apogee_m;
    asked_ = {{Checkpoint::on_rail, e.ignition_s - 2},           {Checkpoint::under_thrust, e.liftoff_s + 0.8},
              {Checkpoint::one_after_burnout, e.burnout_s + 1},  {Checkpoint::two_after_burnout, e.burnout_s + 2},
              {Checkpoint::three_before_apogee, e.apogee_s - 3}, {Checkpoint::apogee, e.apogee_s}};
    if (e.touchdown_s - 10 > e.apogee_s + 1) asked_.push_back({Checkpoint::ten_before_touchdown, e.touchdown_s - 10});
}

sim::TruthSample Scorer::truth_at(double t_s) const {
    const auto& samples = flight_->truth.samples;
    const double at =
        std::clamp((t_s - samples.front().t_s) / sim::kTruthStep_s, 0.0, static_cast<double>(samples.size() - 1));
    const auto low = std::min(static_cast<std::size_t>(at), samples.size() - 2);
    const double part = at - static_cast<double>(low);
    const sim::TruthSample &a = samples[low], &b = samples[low + 1];
    sim::TruthSample out = part < 0.5 ? a : b;
    out.position_enu_m = a.position_enu_m + part * (b.position_enu_m - a.position_enu_m);
    out.velocity_enu_mps = a.velocity_enu_mps + part * (b.velocity_enu_mps - a.velocity_enu_mps);
    out.q_local_body = a.q_local_body.slerp(part, b.q_local_body);
    return out;
}

void Scorer::take(const Batch& batch) {
    const auto id = [&](const char* name) { return tables_.at(kFolder + name); };
    for (const RowRecord& record : batch.rows) {
        const Table& table = schema_->tables[record.table];
        if (record.frame >= 0) {
            if (table.kind == TableKind::packet) packet(batch.frames[static_cast<std::size_t>(record.frame)], record);
            continue;
        }
        if (table.kind != TableKind::estimate) continue;
        const Row row{&columns_[record.table], batch.numbers_of(record, table), true_s(record.t_ns)};
        const sim::TruthSample truth = truth_at(row.t_s);
        if (record.table == id("air")) air(row, truth);
        if (record.table == id("vertical")) vertical(row, truth);
        if (record.table == id("navigation")) navigation(row, truth);
        if (record.table == id("look_angles")) look_angles(row, truth);
        if (record.table == id("ascent")) apogee(row);
        if (record.table == id("landing")) landing(row);
    }
    for (const Event& found : batch.events) event(found);
}

void Scorer::packet(const FrameRecord& frame, const RowRecord& row) {
    const sim::OnboardClock& clock = flight_->clock;
    if (frame.packet_verdict != PacketVerdict::accepted || frame.onboard_ns < 0) return;
    const double onboard_s = 1e-9 * static_cast<double>(frame.onboard_ns);
    const double rate = 1 + 1e-6 * clock.drift_ppm;
    const double made_s = frame.boot == 0 ? (onboard_s - clock.at_start_s) / rate : clock.rebooted_s + onboard_s / rate;
    late_s_ = seconds_between(kStart_ns, row.t_ns) - made_s;
    if (made_s > 10) score_.time_stamp_s.add(late_s_, 0); // ten seconds to find the clock
}

double Scorer::true_s(std::int64_t t_ns) const {
    return seconds_between(kStart_ns, t_ns) - late_s_;
}

void Scorer::air(const Row& row, const sim::TruthSample& truth) {
    const auto& e = flight_->truth.events;
    if (!(row.t_s > e.liftoff_s) || row.t_s > e.touchdown_s) return;
    score_.air_altitude_m.add(row["altitude_m"] - truth.position_enu_m.z(), row["altitude_m_sigma"]);
    if (row.t_s > e.apogee_s) return;
    score_.mach.add(row["mach"] - truth.mach, row["mach_sigma"]);
    score_.dynamic_pressure_pa.add(row["dynamic_pressure_pa"] - truth.dynamic_pressure_pa,
                                   row["dynamic_pressure_pa_sigma"]);
}

void Scorer::vertical(const Row& row, const sim::TruthSample& truth) {
    const auto& e = flight_->truth.events;
    const bool rests = !(row.t_s > e.liftoff_s) && !std::isfinite(e.apogee_s);
    if (!rests && (!(row.t_s > e.liftoff_s) || row.t_s > e.touchdown_s)) return;
    const bool up = rests || row.t_s < e.apogee_s;
    (up ? score_.altitude_up_m : score_.altitude_down_m)
        .add(row["altitude_m"] - truth.position_enu_m.z(), row["altitude_m_sigma"]);
    (up ? score_.vertical_speed_up_mps : score_.vertical_speed_down_mps)
        .add(row["vertical_speed_mps"] - truth.velocity_enu_mps.z(), row["vertical_speed_mps_sigma"]);
}

void Scorer::navigation(const Row& row, const sim::TruthSample& truth) {
    const auto& e = flight_->truth.events;
    if (!std::isfinite(row["east_m"]) || !(row.t_s > e.liftoff_s) || row.t_s > e.touchdown_s) return;
    const bool up = row.t_s < e.apogee_s;
    Errors& position = up ? score_.position_up_m : score_.position_down_m;
    position.add(row["east_m"] - truth.position_enu_m.x(), row["east_m_sigma"]);
    position.add(row["north_m"] - truth.position_enu_m.y(), row["north_m_sigma"]);
    position.add(row["up_m"] - truth.position_enu_m.z(), row["up_m_sigma"]);
    Errors& velocity = up ? score_.velocity_up_mps : score_.velocity_down_mps;
    velocity.add(row["velocity_east_mps"] - truth.velocity_enu_mps.x(), row["velocity_east_mps_sigma"]);
    velocity.add(row["velocity_north_mps"] - truth.velocity_enu_mps.y(), row["velocity_north_mps_sigma"]);
    velocity.add(row["velocity_up_mps"] - truth.velocity_enu_mps.z(), row["velocity_up_mps_sigma"]);
    if (up) {
        const Eigen::Quaterniond q(row["q_w"], row["q_x"], row["q_y"], row["q_z"]);
        const Vector3d found = q * Vector3d::UnitX(), real = truth.q_local_body * Vector3d::UnitX();
        const double off_deg = std::atan2(found.cross(real).norm(), found.dot(real)) * kDegree;
        // Two axes: the square of the angle has the sum of their variances.
        score_.long_axis_deg.add(off_deg, std::hypot(row["attitude_y_deg_sigma"], row["attitude_z_deg_sigma"]));
    }
    if (std::isfinite(row["height_nis"])) {
        height_nis_sum_ += row["height_nis"];
        ++height_nis_count_;
    }
    if (std::isfinite(row["fix_nis"])) {
        fix_nis_sum_ += row["fix_nis"];
        ++fix_nis_count_;
    }
}

void Scorer::look_angles(const Row& row, const sim::TruthSample& truth) {
    const auto& e = flight_->truth.events;
    const Vector3d away = truth.position_enu_m - station_enu_m_;
    if (!(row.t_s > e.liftoff_s) || row.t_s > e.touchdown_s || away.norm() < 50) return;
    const double across = away.head<2>().norm();
    score_.azimuth_deg.add(turned(row["azimuth_deg"] - std::atan2(away.x(), away.y()) * kDegree),
                           row["azimuth_deg_sigma"]);
    score_.elevation_deg.add(row["elevation_deg"] - std::atan2(away.z(), across) * kDegree, row["elevation_deg_sigma"]);
}

PredictionScore* Scorer::asked_before(double t_s, double PredictionScore::*unanswered) {
    PredictionScore* found = nullptr;
    for (const AskedCheckpoint& asked : asked_) {
        PredictionScore& score = score_.predictions[static_cast<std::size_t>(asked.checkpoint)];
        if (t_s > asked.t_s - 0.3 && t_s < asked.t_s + 0.5 && std::isnan(score.*unanswered)) found = &score;
    }
    return found;
}

void Scorer::apogee(const Row& row) {
    PredictionScore* score = asked_before(row.t_s, &PredictionScore::apogee_error_m);
    if (score == nullptr) return;
    const auto& e = flight_->truth.events;
    score->apogee_error_m = row["apogee_m"] - e.apogee_m;
    const double left_s = e.apogee_s - std::max(row.t_s, e.ignition_s); // on the pad counted from ignition
    score->apogee_time_error_s = row["apogee_in_s"] - left_s;
    score->apogee_inside = row["apogee_low_m"] <= e.apogee_m && e.apogee_m <= row["apogee_high_m"];
}

void Scorer::landing(const Row& row) {
    PredictionScore* score = asked_before(row.t_s, &PredictionScore::miss_m);
    // Of the case that happened. One that was late or failed lands as nominal does once that is over.
    std::string_view happened = "nominal";
    for (const std::string_view other : {"no_parachute", "late_opening"}) {
        const bool this_one = other == "no_parachute" ? !charges_fire_ : drogue_late_;
        if (this_one && std::isfinite(row[std::string(other) + "_east_m"])) happened = other;
    }
    const auto value = [&](const char* part) { return row[std::string(happened) + part]; };
    if (score == nullptr || !std::isfinite(value("_east_m"))) return;
    const Vector3d real = truth_at(flight_->truth.events.touchdown_s).position_enu_m;
    const double east_m = real.x() - value("_east_m"), north_m = real.y() - value("_north_m");
    const double bearing = value("_bearing_deg") / kDegree;
    const double along_m = east_m * std::sin(bearing) + north_m * std::cos(bearing);
    const double across_m = east_m * std::cos(bearing) - north_m * std::sin(bearing);
    score->miss_m = std::hypot(east_m, north_m);
    score->semi_major_m = value("_semi_major_m");
    score->landing_inside = std::hypot(along_m / value("_semi_major_m"), across_m / value("_semi_minor_m")) <= 1;
}

void Scorer::event(const Event& event) {
    if (event.key == key_of(EventId::shock)) ++score_.shocks;
    if (event.key == key_of(EventId::pressure_pulse)) ++score_.pressure_pulses;
    if (event.kind == EventKind::alert_raised && event.key.starts_with("sanderling/sensor/")) ++score_.sensor_alerts;
    if (event.key == key_of(EventId::signal_lost))
        score_.presumed_impact_error_s = true_s(event.t_ns) - flight_->truth.events.touchdown_s;
    for (std::size_t m = 0; m < kFlightEvents.size(); ++m) {
        if (event.key != key_of(kFlightEvents[m])) continue;
        FlightEventScore& score = score_.flight_events[m];
        if (++score.found > 1) continue;
        score.error_s = true_s(event.t_ns) - flight_events_true_s_[m];
        score.sigma_s = event.t_sigma_s;
        score.delay_s = seconds_between(kStart_ns, event.t_found_ns) - flight_events_true_s_[m];
    }
}

TrialScore Scorer::score() {
    if (height_nis_count_ > 0) score_.height_nis = height_nis_sum_ / height_nis_count_;
    if (fix_nis_count_ > 0) score_.fix_nis = fix_nis_sum_ / fix_nis_count_;
    return score_;
}

} // namespace turnstone::trials
