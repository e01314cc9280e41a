#include "tools/sim/manifest.hpp"

#include <array>
#include <cmath>
#include <cstdio>
#include <ostream>

#include <nlohmann/json.hpp>

namespace turnstone::sim {

namespace {

nlohmann::json number_or_null(double value) {
    return std::isfinite(value) ? nlohmann::json(value) : nlohmann::json(nullptr);
}

nlohmann::json events_json(const FlightEvents& events) {
    nlohmann::json ejections = nlohmann::json::array();
    for (const Ejection& ejection : events.ejections)
        ejections.push_back({{"t_s", ejection.t_s}, {"parachute", ejection.parachute}});
    return {{"ignition_s", number_or_null(events.ignition_s)},
            {"liftoff_s", number_or_null(events.liftoff_s)},
            {"rail_exit_s", number_or_null(events.rail_exit_s)},
            {"axial_zero_s", number_or_null(events.axial_zero_s)},
            {"burnout_s", number_or_null(events.burnout_s)},
            {"apogee_s", number_or_null(events.apogee_s)},
            {"touchdown_s", number_or_null(events.touchdown_s)},
            {"rail_exit_speed_mps", number_or_null(events.rail_exit_speed_mps)},
            {"apogee_m", number_or_null(events.apogee_m)},
            {"touchdown_speed_mps", number_or_null(events.touchdown_speed_mps)},
            {"ejections", std::move(ejections)}};
}

} // namespace

void write_manifest(std::ostream& out, const FlightResult& flight, const Scenario& scenario, std::uint64_t seed) {
    const nlohmann::json run = {{"kind", "run"},
                                {"scenario", scenario.name},
                                {"seed", seed},
                                {"dispersed", scenario.disperse},
                                {"errors", scenario.errors.name},
                                {"packets", flight.sent.packets.size()},
                                {"bytes_sent", flight.sent.bytes.size()},
                                {"bytes_delivered", flight.received.bytes.size()},
                                {"clock",
                                 {{"at_start_s", flight.clock.at_start_s},
                                  {"drift_ppm", flight.clock.drift_ppm},
                                  {"rebooted_s", number_or_null(flight.clock.rebooted_s)}}},
                                {"destroyed", flight.truth.destroyed},
                                {"events", events_json(flight.truth.events)}};
    out << run.dump() << '\n';
    std::array<char, 400> line;
    for (std::size_t i = 0; i < flight.sent.packets.size(); ++i) {
        const SentPacket& packet = flight.sent.packets[i];
        const PacketFate& fate = flight.received.fates[i];
        const int size = std::snprintf(
            line.data(), line.size(),
            R"({"kind":"packet","apid":%u,"sequence_count":%u,"onboard_ms":%u,"bytes":%zu,"t_made_s":%.6f,"t_s":%.6f,)"
            R"("fate":"%s","faded":%s,"merged":%s,"duplicated":%s,"reordered":%s,"bytes_changed":%u,"bytes_cut":%u,)"
            R"("delay_s":%.6f,"intact_copies":%u})",
            packet.apid, packet.sequence_count, packet.onboard_ms, packet.size, packet.t_made_s, packet.t_end_s,
            to_string(fate.fate).data(), fate.faded ? "true" : "false", fate.merged ? "true" : "false",
            fate.duplicated ? "true" : "false", fate.reordered ? "true" : "false", fate.bytes_changed, fate.bytes_cut,
            fate.delay_s, fate.intact_copies);
        out.write(line.data(), size);
        out.put('\n');
    }
}

void write_truth(std::ostream& out, const Truth& truth) {
    out << "t_s,east_m,north_m,up_m,velocity_east_mps,velocity_north_mps,velocity_up_mps,q_w,q_x,q_y,q_z,"
           "rate_body_x_radps,rate_body_y_radps,rate_body_z_radps,specific_force_x_mps2,specific_force_y_"
           "mps2,"
           "specific_force_z_mps2,wind_east_mps,wind_north_mps,wind_up_mps,mass_kg,pressure_pa,temperature_k,"
           "mach,"
           "dynamic_pressure_pa,phase\n";
    std::array<char, 600> line;
    for (const TruthSample& s : truth.samples) {
        const int size = std::snprintf(
            line.data(), line.size(),
            "%.6f,%.5f,%.5f,%.5f,%.6f,%.6f,%.6f,%.9f,%.9f,%.9f,%.9f,%.7f,%.7f,%.7f,%.6f,%.6f,%.6f,%.4f,%.4f,%"
            ".4f,%.6f,%.3f,"
            "%.4f,%.6f,%.4f,%s\n",
            s.t_s, s.position_enu_m.x(), s.position_enu_m.y(), s.position_enu_m.z(), s.velocity_enu_mps.x(),
            s.velocity_enu_mps.y(), s.velocity_enu_mps.z(), s.q_local_body.w(), s.q_local_body.x(), s.q_local_body.y(),
            s.q_local_body.z(), s.rate_body_radps.x(), s.rate_body_radps.y(), s.rate_body_radps.z(),
            s.specific_force_body_mps2.x(), s.specific_force_body_mps2.y(), s.specific_force_body_mps2.z(),
            s.wind_enu_mps.x(), s.wind_enu_mps.y(), s.wind_enu_mps.z(), s.mass_kg, s.pressure_pa, s.temperature_k,
            s.mach, s.dynamic_pressure_pa, to_string(s.phase).data());
        out.write(line.data(), size);
    }
}

} // namespace turnstone::sim
