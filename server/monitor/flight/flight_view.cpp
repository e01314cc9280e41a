#include "server/monitor/flight/flight_view.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "protocol/dictionary/roles.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

using estimate::Phase;

constexpr double kSilence_s = 1.0; ///< a shorter gap between packets is none
/// Times of rows and of packets are rounded apart.
constexpr std::int64_t kRoundingNs = 1'000'000;
/// From a fix to the first estimate with it in, where estimates come ten times a second and not with each sample.
constexpr std::int64_t kCarriedNs = 100'000'000;

int column(const Table& table, std::string_view name) {
    for (std::size_t i = 0; i < table.number_count; ++i)
        if (table.columns[i].name == name) return static_cast<int>(i);
    return -1;
}

double value(std::span<const double> numbers, int at) noexcept {
    return at < 0 ? kNaN : numbers[static_cast<std::size_t>(at)];
}

/// 0: no such time.
std::int64_t later(std::int64_t t_ns, double seconds) noexcept {
    return std::isfinite(seconds) ? t_ns + seconds_to_ns(seconds) : 0;
}

/// Of navigation: fixes are in its place.
bool stands_on_fixes(std::string_view mode) noexcept {
    return mode == "aligning" || mode == "at rest" || mode == "GNSS-aided" || mode == "aided, no attitude";
}

double number_of(const Event& event, std::string_view name) {
    for (const EventValue& one : event.values)
        if (one.name == name && std::holds_alternative<double>(one.value)) return std::get<double>(one.value);
    return kNaN;
}

} // namespace

double Place::distance_m() const noexcept {
    return std::hypot(east_m, north_m);
}

double Place::bearing_deg() const noexcept {
    const double degrees = std::atan2(east_m, north_m) * 180.0 / std::numbers::pi;
    return degrees < 0 ? degrees + 360.0 : degrees;
}

double FlightView::seconds_since(std::int64_t then_ns) const noexcept {
    return then_ns == 0 ? kNaN : seconds_between(then_ns, t_ns);
}

bool FlightView::in_flight() const noexcept {
    return phase >= Phase::under_thrust && phase <= Phase::under_main;
}

bool FlightView::descends() const noexcept {
    return phase >= Phase::falling && phase <= Phase::under_main;
}

FlightViewer::FlightViewer(const Schema& schema, int vehicle)
    : vehicle_(vehicle), schema_(&schema), kinds_(schema.tables.size(), Kind::none), packets_(schema.tables.size()),
      loss_at_(schema.tables.size(), -1) {
    constexpr std::string_view kEstimate = "/estimate/";
    for (const Table& table : schema.tables) {
        if (table.vehicle != vehicle_) continue;
        if (table.kind == TableKind::estimate && table.name.find(kEstimate) != std::string::npos)
            find_columns(table, table.name.substr(table.name.find(kEstimate) + kEstimate.size()));
        if (table.kind == TableKind::link && table.name.find('.') == std::string::npos) {
            kinds_[table.id] = Kind::link;
            loss_at_[table.id] = column(table, "loss_10s");
        }
        if (table.kind != TableKind::packet && table.kind != TableKind::batch) continue;
        kinds_[table.id] = Kind::packet;
        PacketAt& at = packets_[table.id];
        for (std::size_t i = 0; i < table.number_count; ++i) {
            const int place = static_cast<int>(i);
            const auto role = role_from_name(table.columns[i].role);
            if (!role) continue;
            switch (*role) {
            case Role::static_pressure: at.height.push_back(place); break;
            case Role::accel_body_x:
            case Role::rate_body_x: at.inertial.push_back(place); break;
            case Role::latitude:
            case Role::position_ecef_x: at.latitude = place; break;
            case Role::fix_dimensions: at.fix_dimensions = place; break;
            case Role::wind_speed: at.wind_speed = place; break;
            case Role::wind_from: at.wind_from = place; break;
            case Role::engine_speed: at.engine_speed = place; break;
            default: break;
            }
        }
        view_.sends_fixes |= at.latitude >= 0;
    }
}

void FlightViewer::find_columns(const Table& table, const std::string& estimate) {
    const auto at = [&](std::string_view name) { return column(table, name); };
    Kind& kind = kinds_[table.id];
    if (estimate == "phase") {
        kind = Kind::phase;
        view_.flies = true;
        phase_at_ = at("phase");
    } else if (estimate == "vertical") {
        kind = Kind::vertical;
        vertical_at_ = {at("altitude_m"), at("altitude_m_sigma"), at("vertical_speed_mps"),
                        at("vertical_speed_mps_sigma")};
    } else if (estimate == "air") {
        kind = Kind::air;
        air_at_ = {at("altitude_m"), at("altitude_m_sigma"), -1, -1};
        density_at_ = at("density_kg_m3");
    } else if (estimate == "navigation") {
        kind = Kind::navigation;
        navigation_at_ = {.motion = {at("up_m"), at("up_m_sigma"), at("velocity_up_mps"), at("velocity_up_mps_sigma")},
                          .mode = at("mode"),
                          .east = at("east_m"),
                          .east_sigma = at("east_m_sigma"),
                          .north = at("north_m"),
                          .north_sigma = at("north_m_sigma"),
                          .latitude = at("latitude_deg"),
                          .longitude = at("longitude_deg"),
                          .altitude_msl = at("altitude_msl_m"),
                          .velocity_east = at("velocity_east_mps"),
                          .velocity_north = at("velocity_north_mps"),
                          .q_w = at("q_w"),
                          .tilt = at("tilt_deg")};
        for (const auto& [number, mode] : table.columns[static_cast<std::size_t>(navigation_at_.mode)].enumeration)
            if (stands_on_fixes(mode)) aided_modes_.push_back(static_cast<double>(number));
    } else if (estimate == "ascent") {
        kind = Kind::ascent;
        apogee_at_ = at("apogee_m");
        apogee_sigma_at_ = at("apogee_m_sigma");
        apogee_in_at_ = at("apogee_in_s");
    } else if (estimate == "derived") {
        kind = Kind::derived;
        greatest_at_ = at("altitude_max_m");
        greatest_sigma_at_ = at("altitude_max_m_sigma");
    } else if (estimate == "landing") {
        kind = Kind::landing;
        likeliest_at_ = at("likeliest");
        for (const estimate::LandingCaseWords& one : estimate::kLandingCases) {
            const std::string stem(one.stem);
            landing_at_[one.value] = {at(stem + "_probability"), at(stem + "_east_m"), at(stem + "_north_m"),
                                      at(stem + "_semi_major_m"), at(stem + "_in_s")};
        }
    }
}

void FlightViewer::see(const Batch& batch, Marks from) {
    for (std::size_t k = from.rows; k < batch.rows.size(); ++k) {
        const RowRecord& row = batch.rows[k];
        const Kind kind = kinds_[row.table];
        if (kind == Kind::none) continue;
        const Numbers numbers = batch.numbers_of(row, schema_->tables[row.table]);
        switch (kind) {
        case Kind::packet: see_packet(row, packets_[row.table], numbers); break;
        case Kind::phase: view_.phase = static_cast<Phase>(value(numbers, phase_at_)); break;
        case Kind::vertical: see_motion(MotionSource::vertical, vertical_at_, row.t_ns, numbers); break;
        case Kind::air:
            see_motion(MotionSource::air, air_at_, row.t_ns, numbers);
            view_.density_kg_m3 = value(numbers, density_at_);
            view_.t_air_ns = row.t_ns;
            break;
        case Kind::navigation: see_navigation(row.t_ns, numbers); break;
        case Kind::ascent:
            view_.ascent.apogee_m = {value(numbers, apogee_at_), value(numbers, apogee_sigma_at_), row.t_ns};
            view_.ascent.at_ns = later(row.t_ns, value(numbers, apogee_in_at_));
            break;
        case Kind::derived:
            if (view_.apogee_ns)
                view_.apogee_m = {value(numbers, greatest_at_), value(numbers, greatest_sigma_at_), *view_.apogee_ns};
            break;
        case Kind::landing: see_landing(row.t_ns, numbers); break;
        case Kind::link: view_.loss = value(numbers, loss_at_[row.table]); break;
        case Kind::none: break;
        }
    }
    for (std::size_t k = from.events; k < batch.events.size(); ++k)
        if (batch.events[k].vehicle == vehicle_) see(batch.events[k]);
}

void FlightViewer::see_packet(const RowRecord& row, const PacketAt& at, Numbers numbers) {
    const auto any = [&](const std::vector<int>& places) {
        return std::any_of(places.begin(), places.end(),
                           [&](int place) { return std::isfinite(value(numbers, place)); });
    };
    const double silent_s = view_.t_received_ns == 0 ? 0 : seconds_between(view_.t_received_ns, row.t_rx_ns);
    if (silent_s > kSilence_s) {
        view_.silence_s = silent_s;
        view_.t_silence_end_ns = row.t_rx_ns;
    }
    view_.t_received_ns = std::max(view_.t_received_ns, row.t_rx_ns);
    if (any(at.height)) view_.t_height_ns = std::max(view_.t_height_ns, row.t_ns);
    if (any(at.inertial)) view_.t_inertial_ns = std::max(view_.t_inertial_ns, row.t_ns);
    const double dimensions = value(numbers, at.fix_dimensions);
    const bool has_fix = at.fix_dimensions < 0 || dimensions >= 2;
    if (has_fix && std::isfinite(value(numbers, at.latitude))) view_.t_fix_ns = std::max(view_.t_fix_ns, row.t_ns);
    if (dimensions < 2) view_.t_no_fix_ns = std::max(view_.t_no_fix_ns, row.t_ns);
    view_.t_measured_ns = std::max({view_.t_height_ns, view_.t_inertial_ns, view_.t_fix_ns});
    const auto newest = [&](int place, double& figure) {
        if (std::isfinite(value(numbers, place))) figure = value(numbers, place);
    };
    newest(at.wind_speed, view_.wind_mps);
    newest(at.wind_from, view_.wind_from_deg);
    newest(at.engine_speed, view_.engine_rpm);
}

void FlightViewer::see_motion(MotionSource source, const Motion& at, std::int64_t t_ns, Numbers numbers) {
    if (t_ns > view_.t_measured_ns + kRoundingNs) return;
    const auto which = static_cast<std::size_t>(source);
    const auto take = [&](Figure& figure, int value_at, int sigma_at) {
        if (std::isfinite(value(numbers, value_at)) && t_ns >= figure.t_ns)
            figure = {value(numbers, value_at), value(numbers, sigma_at), t_ns};
    };
    take(altitude_m_[which], at.altitude, at.altitude_sigma);
    take(view_.speed_of_mps[which], at.speed, at.speed_sigma);
}

void FlightViewer::see_navigation(std::int64_t t_ns, Numbers numbers) {
    const NavigationAt& at = navigation_at_;
    aided_ = std::find(aided_modes_.begin(), aided_modes_.end(), value(numbers, at.mode)) != aided_modes_.end();
    view_.t_navigation_ns = std::max(view_.t_navigation_ns, t_ns);
    if (std::isfinite(value(numbers, at.q_w))) view_.t_attitude_ns = std::max(view_.t_attitude_ns, t_ns);
    if (std::isfinite(value(numbers, at.tilt))) view_.tilt_deg = value(numbers, at.tilt);
    const double sigma_m = std::max(value(numbers, at.east_sigma), value(numbers, at.north_sigma));
    view_.horizontal_sigma_m = sigma_m;
    if (!aided_) return;
    see_motion(MotionSource::navigation, at.motion, t_ns, numbers);
    if (t_ns > std::max(view_.t_measured_ns, view_.t_fix_ns + kCarriedNs) + kRoundingNs) return;
    if (view_.t_fix_ns <= view_.place.t_ns || !std::isfinite(value(numbers, at.east))) return;
    view_.place = {.east_m = value(numbers, at.east),
                   .north_m = value(numbers, at.north),
                   .sigma_m = sigma_m,
                   .up_m = value(numbers, at.motion.altitude),
                   .latitude_deg = value(numbers, at.latitude),
                   .longitude_deg = value(numbers, at.longitude),
                   .altitude_msl_m = value(numbers, at.altitude_msl),
                   .velocity_east_mps = value(numbers, at.velocity_east),
                   .velocity_north_mps = value(numbers, at.velocity_north),
                   .t_ns = view_.t_fix_ns};
}

void FlightViewer::see_landing(std::int64_t t_ns, Numbers numbers) {
    view_.t_landing_ns = t_ns;
    if (const double likeliest = value(numbers, likeliest_at_); std::isfinite(likeliest))
        view_.likeliest = static_cast<estimate::LandingCaseKind>(likeliest);
    for (const estimate::LandingCaseWords& one : estimate::kLandingCases) {
        const LandingAt& at = landing_at_[one.value];
        std::optional<LandingPrediction>& landing = view_.landing[one.value];
        landing.reset();
        if (!std::isfinite(value(numbers, at.in_s))) continue;
        landing = LandingPrediction{value(numbers, at.probability), value(numbers, at.east), value(numbers, at.north),
                                    value(numbers, at.semi_major), later(t_ns, value(numbers, at.in_s))};
    }
}

void FlightViewer::begin_flight() {
    view_.liftoff_ns = view_.burnout_ns = view_.apogee_ns = view_.drogue_out_ns = view_.main_out_ns = std::nullopt;
    view_.touchdown_ns = view_.joined_ns = std::nullopt;
    view_.apogee_m = {};
    view_.charges_at_rest = 0;
}

void FlightViewer::see(const Event& event) {
    if (!event.id) return;
    switch (*event.id) {
    case EventId::phase_began: view_.phase_began_ns = event.t_ns; break;
    case EventId::liftoff:
        begin_flight();
        view_.liftoff_ns = event.t_ns;
        break;
    case EventId::joined_in_flight:
        begin_flight();
        view_.joined_ns = event.t_ns;
        break;
    case EventId::false_liftoff:
    case EventId::ready_again: begin_flight(); break;
    case EventId::burnout: view_.burnout_ns = event.t_ns; break;
    case EventId::apogee:
        view_.apogee_ns = event.t_ns;
        view_.apogee_m = {number_of(event, "altitude_m"), number_of(event, "altitude_sigma_m"), event.t_ns};
        break;
    case EventId::drogue_out:
        view_.drogue_out_ns = event.t_ns;
        view_.drogue_out_sigma_s = event.t_sigma_s;
        break;
    case EventId::main_out:
        view_.main_out_ns = event.t_ns;
        view_.main_out_sigma_s = event.t_sigma_s;
        break;
    case EventId::touchdown: view_.touchdown_ns = event.t_ns; break;
    case EventId::reboot: view_.reboot_ns = event.t_ns; break;
    case EventId::pressure_pulse:
        if (view_.phase == Phase::on_rail) ++view_.charges_at_rest;
        break;
    default: break;
    }
}

const FlightView& FlightViewer::at(std::int64_t t_ns) {
    view_.t_ns = t_ns;
    const auto best = [&](const std::array<Figure, 4>& figures) {
        const std::int64_t newest_ns = std::max({figures[1].t_ns, figures[2].t_ns, figures[3].t_ns});
        for (const MotionSource source : {MotionSource::navigation, MotionSource::vertical, MotionSource::air}) {
            const Figure& figure = figures[static_cast<std::size_t>(source)];
            if (source == MotionSource::navigation && !aided_) continue;
            if (figure.known() && seconds_between(figure.t_ns, newest_ns) < kSourceStale_s) return source;
        }
        return MotionSource::none;
    };
    view_.altitude_source = best(altitude_m_);
    view_.speed_source = best(view_.speed_of_mps);
    view_.altitude_m = altitude_m_[static_cast<std::size_t>(view_.altitude_source)];
    view_.vertical_speed_mps = view_.speed_of_mps[static_cast<std::size_t>(view_.speed_source)];
    return view_;
}

} // namespace turnstone
