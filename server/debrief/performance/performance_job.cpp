// The job "performance": a flight's recording in, JSON out.
#include <algorithm>
#include <cmath>

#include "server/debrief/flight_request.hpp"
#include "server/debrief/performance/performance.hpp"
#include "server/debrief/performance/performance_record.hpp"

namespace turnstone::debrief {

namespace {

using nlohmann::json;

/// Rows in a chart; more than a boost has at 200 Hz.
constexpr std::size_t kThrustRows = 600;

json found_json(const analysis::Found& found) {
    return {{"value", found.value}, {"sigma", found.sigma}, {"interval", {found.interval.low, found.interval.high}}};
}

json drag_json(const analysis::DragCurve& drag, const RocketModel& rocket) {
    if (!drag.why.empty()) return nullptr;
    std::vector<double> file_cd;
    for (const double mach : drag.mach) file_cd.push_back(rocket.drag_coefficient.at(mach));
    return {{"mach", drag.mach},
            {"cd", drag.cd},
            {"sigma", drag.sigma},
            {"interval", {drag.low, drag.high}},
            {"file_cd", file_cd}};
}

json motor_json(const analysis::ThrustCurve& thrust, const RocketModel& rocket) {
    if (!thrust.why.empty()) return nullptr;
    const std::size_t step = std::max<std::size_t>(1, thrust.t_s.size() / kThrustRows);
    std::vector<double> t_s, thrust_n, sigma_n;
    for (std::size_t i = 0; i < thrust.t_s.size(); i += step) {
        t_s.push_back(std::round(thrust.t_s[i] * 1e4) / 1e4);
        thrust_n.push_back(std::round(thrust.thrust_n[i] * 100) / 100);
        sigma_n.push_back(std::round(thrust.sigma_n[i] * 100) / 100);
    }
    return {{"t_s", t_s},
            {"thrust_n", thrust_n},
            {"sigma_n", sigma_n},
            {"impulse_n_s", found_json(thrust.impulse_n_s)},
            {"burn_s", thrust.burn_s},
            {"file",
             {{"t_s", rocket.thrust_n.x},
              {"thrust_n", rocket.thrust_n.y},
              {"impulse_n_s", rocket.total_impulse_n_s()},
              {"burn_s", rocket.burn_time_s()}}}};
}

} // namespace

Result<json> performance(const Recordings& recordings, const json& request, const Advance& advance) {
    const auto id = parse_flight_request(request, "performance");
    if (!id) return tl::unexpected(id.error());
    const auto flight = open_flight(recordings, *id);
    if (!flight) return tl::unexpected(flight.error());
    const auto shown = flight_performance(**flight, advance);
    if (!shown) return tl::unexpected(shown.error());
    const RocketModel& rocket = shown->rocket;
    const Performance& found = shown->found;

    json parachutes = json::array(), reasons = json::object();
    if (!found.drag.why.empty()) reasons["drag"] = found.drag.why;
    if (!found.thrust.why.empty()) reasons["motor"] = found.thrust.why;
    for (std::size_t k = 0; k < found.parachutes.size(); ++k) {
        const ParachuteFound& one = found.parachutes[k];
        const Parachute& file = rocket.parachutes[k];
        if (!one.why.empty()) reasons[file.name] = one.why;
        parachutes.push_back({{"id", file.name},
                              {"drag_area_m2", one.why.empty() ? found_json(one.area_m2) : json()},
                              {"rate_mps", one.rate_mps},
                              {"opening_s", found_json(one.opening_s)},
                              {"file_drag_area_m2", file.drag_area_m2},
                              {"file_opening_s", file.opens_after_s}});
    }
    return json{{"drag", drag_json(found.drag, rocket)},
                {"motor", motor_json(found.thrust, rocket)},
                {"parachutes", std::move(parachutes)},
                {"mass_kg", {{"value", shown->masses.dry_kg}, {"sigma", shown->masses.dry_sigma_kg}}},
                {"vehicle", corrected_vehicle(shown->vehicle, rocket, found)},
                {"reasons", std::move(reasons)}};
}

} // namespace turnstone::debrief
