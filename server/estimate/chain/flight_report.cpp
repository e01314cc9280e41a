#include "server/estimate/chain/flight_report.hpp"

#include "shared/time.hpp"

namespace turnstone::estimate {

TableOf<AirPicture> air_table() {
    using S = const AirPicture&;
    constexpr const char* kGroup = "Air data";
    TableOf<AirPicture> table{"air", "Air data", 0.04};
    table
        .add({"altitude_m", "Altitude AGL", "m", kGroup, 1, "From static pressure, in the day's atmosphere"},
             [](S a) { return a.heights.above_pad_m; })
        .sigma([](S a) { return a.altitude_sigma_m; }, 1)
        .add({"altitude_msl_m", "Altitude MSL", "m", kGroup, 1, "From static pressure", {}, "altitude_m_sigma"},
             [](S a) { return a.heights.msl_m; })
        .add({"pressure_altitude_m", "Pressure altitude", "m", kGroup, 1,
              "On the standard atmosphere's scale from 1013.25 hPa"},
             [](S a) { return a.heights.pressure_altitude_m; })
        .add({"temperature_k", "Outside air temperature", "K", kGroup, 1, "Of the day's atmosphere"},
             [](S a) { return a.heights.temperature_k; })
        .sigma([](S a) { return a.heights.temperature_sigma_k; }, 1)
        .add({"density_kg_m3", "Air density", "kg/m3", kGroup, 3}, [](S a) { return a.heights.density_kg_m3; })
        .add({"speed_of_sound_mps", "Speed of sound", "m/s", kGroup, 1},
             [](S a) { return a.heights.speed_of_sound_mps; })
        .add({"mach", "Mach number", "1", kGroup, 2}, [](S a) { return a.speeds.mach; })
        .sigma([](S a) { return a.speeds.mach_sigma; })
        .add({"dynamic_pressure_pa", "Dynamic pressure", "Pa", kGroup, 0},
             [](S a) { return a.speeds.dynamic_pressure_pa; })
        .sigma([](S a) { return a.speeds.dynamic_pressure_sigma_pa; }, 0);
    return table;
}

TableOf<VerticalEstimate> vertical_table() {
    using S = const VerticalEstimate&;
    constexpr const char* kGroup = "Vertical";
    TableOf<VerticalEstimate> table{"vertical", "Vertical motion", FlightEstimator::kVerticalPeriod_s};
    table.add({"altitude_m", "Altitude AGL", "m", kGroup, 1}, [](S v) { return v.altitude_m; })
        .sigma([](S v) { return v.altitude_sigma_m; }, 1)
        .add({"vertical_speed_mps", "Vertical speed", "m/s", kGroup, 1, "Up positive"},
             [](S v) { return v.vertical_speed_mps; })
        .sigma([](S v) { return v.vertical_speed_sigma_mps; }, 1)
        .add({"acceleration_mps2", "Vertical acceleration", "m/s2", kGroup, 1, "Up positive, gravity removed"},
             [](S v) { return v.acceleration_mps2; })
        .sigma([](S v) { return v.acceleration_sigma_mps2; }, 1)
        .add({"accel_bias_mps2", "Accelerometer bias", "m/s2", ""}, [](S v) { return v.accel_bias_mps2; })
        .sigma([](S v) { return v.accel_bias_sigma_mps2; })
        .add({"inertial", "Accelerometer", "1", "", 0, "Whether it is in use", {{0, "not in use"}, {1, "in use"}}},
             [](S v) { return v.inertial ? 1.0 : 0.0; })
        .add({"nis", "NIS", "1", "", 2, "Normalised innovation squared of the newest height"},
             [](S v) { return v.nis; })
        .add({"nis_mean", "NIS, mean", "1", "Health", 2, "Of the last 50 heights; 1 is ideal"},
             [](S v) { return v.nis_mean; })
        .add({"health", "Vertical filter", "1", "Health", 0, "Innovations against their chi-square bounds",
              enumeration<Health>()},
             [](S v) { return static_cast<double>(v.health); });
    return table;
}

TableOf<PhaseFigures> phase_table() {
    using S = const PhaseFigures&;
    TableOf<PhaseFigures> table{"phase", "Phase", 1.0};
    table
        .add({"phase", "Phase", "1", "Flight", 0, "", enumeration<Phase>()},
             [](S p) { return static_cast<double>(p.phase); })
        .add({"time_in_phase_s", "Time in phase", "s", "Flight", 1}, [](S p) { return p.in_phase_s; })
        .add({"time_since_liftoff_s", "Time since liftoff", "s", "Flight", 1}, [](S p) { return p.since_liftoff_s; });
    return table;
}

FlightReport::FlightReport(bool has_pressure, std::vector<TableDescription>& tables)
    : vertical_(vertical_table(), tables), phase_(phase_table(), tables), derived_(derived_table(), tables),
      air_(has_pressure ? std::optional<RowWriter<AirPicture>>(std::in_place, air_table(), tables) : std::nullopt) {}

void FlightReport::write(const FlightEstimator::News& news, const FlightPicture& picture, EstimateSink& sink) {
    if (news.air && air_) air_->write(picture.air->t_ns, *picture.air, sink);
    if (news.vertical) vertical_.write(news.vertical->t_ns, *news.vertical, sink);
    if (news.phase_ns) {
        const std::int64_t t_ns = *news.phase_ns;
        const PhasePicture& phase = picture.phase;
        phase_.write(t_ns,
                     {phase.phase, phase.began_ns == 0 ? kNaN : seconds_between(phase.began_ns, t_ns),
                      phase.liftoff_ns ? seconds_between(*phase.liftoff_ns, t_ns) : kNaN},
                     sink);
        derived_.write(t_ns, picture.figures, sink);
    }
}

} // namespace turnstone::estimate
