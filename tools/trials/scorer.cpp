#include "tools/trials/scorer.hpp"

#include <algorithm>
#include <numbers>

#include "server/estimate/math/nis_monitor.hpp"
#include "server/pipeline/events.hpp"
#include "shared/constants.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone::trials {

using Eigen::Vector3d;

namespace {

constexpr double kDegree = 180 / std::numbers::pi;
const std::string kFolder = "sanderling/estimate/";
constexpr double kSettled_s = 10; ///< to find the clock and to align
constexpr double kBack_s = 1.0;   ///< fixes come again for so long

std::string key_of(EventId id) {
    return make_event({.id = id, .t_ns = 0}, 0, {.index = 0, .name = "sanderling"}).key;
}

/// Half a second, or one and a half periods of the fastest sensor that gives a height.
double hold_s(const sim::Telemetry& telemetry) {
    double fastest_hz = 0;
    for (const double rate_hz : {telemetry.imu_hz, telemetry.pressure_hz, telemetry.fix_hz})
        fastest_hz = std::max(fastest_hz, rate_hz);
    return std::max(0.5, 1.5 / fastest_hz);
}

double turned(double degrees) {
    return std::remainder(degrees, 360.0);
}

} // namespace

Scorer::Scorer(const sim::FlightResult& flight, const sim::Scenario& scenario, const Schema& schema)
    : flight_(&flight), schema_(&schema), station_enu_m_(LocalFrame(scenario.site.pad).to_enu_m(scenario.site.station)),
      charges_fire_(scenario.charges_fire), drogue_late_(scenario.drogue_late_s > 0),
      hold_s_(hold_s(scenario.telemetry)), fix_hz_(scenario.telemetry.fix_hz) {
    answered_s_.fill(-kInfinity);
    for (const sim::TruthSample& sample : flight.truth.samples)
        if (sample.t_s > kSettled_s)
            for (auto& of_quantity : score_.tallies)
                of_quantity[static_cast<std::size_t>(sample.phase)].lasted_s += sim::kTruthStep_s;
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
    for (const AskedCheckpoint& asked : asked_)
        score_.predictions[static_cast<std::size_t>(asked.checkpoint)].asked = true;
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
    const auto is = [&](const RowRecord& record, const char* name) {
        const auto found = tables_.find(kFolder + name);
        return found != tables_.end() && found->second == record.table;
    };
    for (const RowRecord& record : batch.rows) {
        const Table& table = schema_->tables[record.table];
        if (record.frame >= 0) {
            if (table.kind != TableKind::packet) continue;
            packet(batch.frames[static_cast<std::size_t>(record.frame)], record);
            const auto dimensions = columns_[record.table].find("fix_dimensions");
            if (dimensions != columns_[record.table].end() && batch.numbers_of(record, table)[dimensions->second] >= 2)
                fixes_s_.push_back(seconds_between(kStart_ns, record.t_rx_ns));
            continue;
        }
        if (table.kind != TableKind::estimate) continue;
        const Row row{&columns_[record.table], batch.numbers_of(record, table), true_s(record.t_ns)};
        const sim::TruthSample truth = truth_at(row.t_s);
        if (is(record, "air")) air(row, truth);
        if (is(record, "vertical")) vertical(row, truth);
        if (is(record, "navigation")) {
            navigation(row, truth);
            if (std::isfinite(row["east_m"])) positions_s_.push_back(seconds_between(kStart_ns, record.t_rx_ns));
        }
        if (is(record, "look_angles")) look_angles(row, truth);
        if (is(record, "ascent") || is(record, "landing")) prediction_shown(record);
        if (is(record, "ascent")) apogee(row);
        if (is(record, "landing")) landing(row);
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
    if (made_s > kSettled_s) score_.time_stamp_s.add(late_s_, 0);
}

double Scorer::true_s(std::int64_t t_ns) const {
    return seconds_between(kStart_ns, t_ns) - late_s_;
}

void Scorer::compare(Quantity quantity, const sim::TruthSample& truth, double error, double sigma) {
    if (truth.t_s < kSettled_s || !std::isfinite(error)) return;
    const auto q = static_cast<std::size_t>(quantity);
    Tally& tally = score_.tallies[q][static_cast<std::size_t>(truth.phase)];
    tally.errors.add(error, sigma);
    const auto& e = flight_->truth.events;
    const bool flies = truth.t_s > e.liftoff_s && truth.t_s < e.touchdown_s;
    if (flies && sigma > 0 && std::abs(error) > TrialScore::kHarm * sigma && std::isnan(score_.harmed_s))
        score_.harmed_s = truth.t_s;
    // Components of one row share its time, and only the first adds to what is covered.
    tally.covered_s += std::clamp(truth.t_s - std::max(answered_s_[q], kSettled_s), 0.0, hold_s_);
    answered_s_[q] = std::max(answered_s_[q], truth.t_s);
}

void Scorer::lamp(Lamp which, const Row& row, const char* column) {
    const auto& e = flight_->truth.events;
    if (!(row.t_s > e.liftoff_s) || row.t_s > e.touchdown_s || !std::isfinite(row[column])) return;
    HealthTally& tally = score_.lamps[static_cast<std::size_t>(which)];
    const auto health = static_cast<estimate::Health>(std::lround(row[column]));
    if (health == estimate::Health::not_enough_data) return;
    ++tally.rows;
    tally.consistent += health == estimate::Health::consistent;
    tally.conservative += health == estimate::Health::conservative;
    const bool doubts = health == estimate::Health::overconfident || health == estimate::Health::do_not_trust;
    tally.overconfident += doubts;
    if (doubts && std::isnan(score_.warned_s)) score_.warned_s = row.t_s;
}

void Scorer::air(const Row& row, const sim::TruthSample& truth) {
    compare(Quantity::air_altitude, truth, row["altitude_m"] - truth.position_enu_m.z(), row["altitude_m_sigma"]);
    compare(Quantity::mach, truth, row["mach"] - truth.mach, row["mach_sigma"]);
    compare(Quantity::dynamic_pressure, truth, row["dynamic_pressure_pa"] - truth.dynamic_pressure_pa,
            row["dynamic_pressure_pa_sigma"]);
}

void Scorer::vertical(const Row& row, const sim::TruthSample& truth) {
    compare(Quantity::altitude, truth, row["altitude_m"] - truth.position_enu_m.z(), row["altitude_m_sigma"]);
    compare(Quantity::vertical_speed, truth, row["vertical_speed_mps"] - truth.velocity_enu_mps.z(),
            row["vertical_speed_mps_sigma"]);
    lamp(Lamp::vertical, row, "health");
}

void Scorer::navigation(const Row& row, const sim::TruthSample& truth) {
    using enum Quantity;
    const Vector3d& p = truth.position_enu_m;
    const Vector3d& v = truth.velocity_enu_mps;
    compare(east_north, truth, row["east_m"] - p.x(), row["east_m_sigma"]);
    compare(east_north, truth, row["north_m"] - p.y(), row["north_m_sigma"]);
    compare(up, truth, row["up_m"] - p.z(), row["up_m_sigma"]);
    compare(velocity_east_north, truth, row["velocity_east_mps"] - v.x(), row["velocity_east_mps_sigma"]);
    compare(velocity_east_north, truth, row["velocity_north_mps"] - v.y(), row["velocity_north_mps_sigma"]);
    compare(velocity_up, truth, row["velocity_up_mps"] - v.z(), row["velocity_up_mps_sigma"]);
    const Eigen::Quaterniond q(row["q_w"], row["q_x"], row["q_y"], row["q_z"]);
    const Vector3d found = q * Vector3d::UnitX(), real = truth.q_local_body * Vector3d::UnitX();
    const double off_deg = std::atan2(found.cross(real).norm(), found.dot(real)) * kDegree;
    // Two axes: the square of the angle has the sum of their variances.
    compare(long_axis, truth, off_deg, std::hypot(row["attitude_y_deg_sigma"], row["attitude_z_deg_sigma"]));
    lamp(Lamp::fixes, row, "fix_health");
    lamp(Lamp::heights, row, "height_health");
    if (!(row.t_s > flight_->truth.events.liftoff_s) || row.t_s > flight_->truth.events.touchdown_s) return;
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
    const Vector3d away = truth.position_enu_m - station_enu_m_;
    if (away.norm() < 50) return;
    const double across = away.head<2>().norm();
    compare(Quantity::azimuth, truth, turned(row["azimuth_deg"] - std::atan2(away.x(), away.y()) * kDegree),
            row["azimuth_deg_sigma"]);
    compare(Quantity::elevation, truth, row["elevation_deg"] - std::atan2(away.z(), across) * kDegree,
            row["elevation_deg_sigma"]);
}

void Scorer::prediction_shown(const RowRecord& record) {
    const auto& e = flight_->truth.events;
    const double shown_s = seconds_between(kStart_ns, record.t_rx_ns);
    if (!(shown_s > e.liftoff_s) || shown_s > e.touchdown_s) return;
    ++score_.predictions_in_flight;
    score_.oldest_prediction_s = std::fmax(score_.oldest_prediction_s, seconds_between(record.t_ns, record.t_rx_ns));
}

/// Fixes are back from kBack_s after the first on, while they follow one another: up to the one after which two and
/// more are missing.
void Scorer::count_positions() {
    if (fixes_s_.empty()) return;
    const double follows_s = std::max(0.5, 2.5 / fix_hz_);
    std::size_t fix = 0, position = 0;
    double since_s = fixes_s_.front();
    for (double t_s = kSettled_s; t_s <= fixes_s_.back(); t_s += sim::kTruthStep_s) {
        for (; fix + 1 < fixes_s_.size() && fixes_s_[fix + 1] <= t_s; ++fix)
            if (fixes_s_[fix + 1] - fixes_s_[fix] > follows_s) since_s = fixes_s_[fix + 1];
        while (position + 1 < positions_s_.size() && positions_s_[position + 1] <= t_s) ++position;
        if (t_s - since_s < kBack_s || t_s - fixes_s_[fix] > follows_s) continue;
        score_.with_fixes_s += sim::kTruthStep_s;
        const bool there = !positions_s_.empty() && positions_s_[position] <= t_s;
        if (there && t_s - positions_s_[position] <= hold_s_) score_.placed_s += sim::kTruthStep_s;
    }
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
    if (score == nullptr || !std::isfinite(row["apogee_m"])) return;
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
    if (event.kind == EventKind::alert_raised && event.key.starts_with("sanderling/sensor/")) {
        ++score_.sensor_alerts;
        if (std::isnan(score_.warned_s)) score_.warned_s = seconds_between(kStart_ns, event.t_found_ns);
    }
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
    count_positions();
    return score_;
}

} // namespace turnstone::trials
