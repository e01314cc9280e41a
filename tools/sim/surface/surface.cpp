#include "tools/sim/surface/surface.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>
#include <numbers>

#include "protocol/framing/line_deframer.hpp"
#include "shared/constants.hpp"

namespace turnstone::sim {

namespace {

constexpr double kByte_s = 10.0 / 38400;
constexpr double kIdle_rpm = 900, kAtSea_rpm = 2400;
constexpr double kSpeedAtSea_mps = 4.5;
/// Of engine parts, first order: coolant, exhaust, revolutions.
constexpr double kCoolant_s = 150, kExhaust_s = 40, kRevolutions_s = 1.5;

double towards(double value, double target, double dt_s, double time_constant_s) {
    return target + (value - target) * std::exp(-dt_s / time_constant_s);
}

template <class... Values>
std::string text(const char* format, Values... values) {
    std::array<char, 160> out{};
    const int size = std::snprintf(out.data(), out.size(), format, values...);
    return {out.data(), static_cast<std::size_t>(std::clamp(size, 0, static_cast<int>(out.size()) - 1))};
}

/// ddmm.mmmmm,N
std::string angle(double degrees, int digits, char positive, char negative) {
    const double size = std::abs(degrees);
    // Rounded before it is split: 59.999999 minutes are the next degree.
    const double minutes = std::round(size * 60e5) / 1e5;
    const int whole = static_cast<int>(minutes / 60);
    return text("%0*d%08.5f,%c", digits, whole, minutes - 60 * whole, degrees < 0 ? negative : positive);
}

std::string time_of_day(double utc_s) {
    const auto centiseconds = static_cast<long long>(std::floor(utc_s * 100)) % 8'640'000;
    return text("%02lld%02lld%02lld.%02lld", centiseconds / 360000, centiseconds / 6000 % 60, centiseconds / 100 % 60,
                centiseconds % 100);
}

/// ddmmyy, by the civil calendar (H. Hinnant, "chrono-compatible low-level date algorithms": days to civil).
std::string date(double utc_s) {
    const auto days = static_cast<long long>(std::floor(utc_s / 86400)) + 719468;
    const long long era = days / 146097, of_era = days - era * 146097;
    const long long year_of_era = (of_era - of_era / 1460 + of_era / 36524 - of_era / 146096) / 365;
    const long long of_year = of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    const long long month_of_year = (5 * of_year + 2) / 153;
    const long long day = of_year - (153 * month_of_year + 2) / 5 + 1;
    const long long month = month_of_year < 10 ? month_of_year + 3 : month_of_year - 9;
    const long long year = year_of_era + era * 400 + (month <= 2 ? 1 : 0);
    return text("%02lld%02lld%02lld", day, month, year % 100);
}

/// Sentences one after another on a line.
class Line {
  public:
    void say(double t_s, const std::string& sentence) {
        const std::string line = encode_sentence(sentence);
        const double begin_s = std::max(t_s, free_s_);
        free_s_ = begin_s + kByte_s * static_cast<double>(line.size());
        stream_.deliveries.push_back({begin_s, free_s_, 0, stream_.bytes.size(), line.size()});
        stream_.bytes.insert(stream_.bytes.end(), line.begin(), line.end());
    }
    [[nodiscard]] SurfaceStream take() { return std::move(stream_); }

  private:
    SurfaceStream stream_;
    double free_s_ = 0;
};

} // namespace

Boat::Boat(const Site& site, std::uint64_t seed)
    : cooling_fails_s(std::numeric_limits<double>::quiet_NaN()), random_(seed, "boat"), state_{},
      ambient_k_(site.pad_temperature_k.value_or(293)) {
    state_.battery_v = 12.6;
    state_.fuel_percent = 72;
    state_.course_deg = 40;
    state_.coolant_k = state_.exhaust_k = ambient_k_;
    state_.east_m = random_.uniform(700, 900);
    state_.north_m = random_.uniform(-300, -100);
}

void Boat::advance(double t_s) {
    while (t_s_ < t_s) {
        const double dt_s = std::min(1.0, t_s - t_s_);
        t_s_ += dt_s;
        const double since_s = std::fmod(t_s_ - kStart_s, kRound_s);
        const bool runs = t_s_ >= kStart_s;
        const bool at_sea = runs && since_s > kIdle_s;
        const double wanted_rpm = !runs ? 0 : (at_sea ? kAtSea_rpm : kIdle_rpm) + 12 * random_.normal();
        state_.engine_rpm = std::max(0.0, towards(state_.engine_rpm, wanted_rpm, dt_s, kRevolutions_s));
        const double load = std::clamp((state_.engine_rpm - kIdle_rpm) / (kAtSea_rpm - kIdle_rpm), 0.0, 1.0);
        const double thermostat_k = runs ? 345 + 12 * load : ambient_k_;
        const bool cooled = !(t_s_ >= cooling_fails_s);
        state_.coolant_k = towards(state_.coolant_k, cooled ? thermostat_k : 390, dt_s, kCoolant_s);
        state_.exhaust_k =
            towards(state_.exhaust_k, runs ? 312 + 18 * load + (cooled ? 0 : 60) : ambient_k_, dt_s, kExhaust_s);
        const double hot = std::clamp((state_.coolant_k - 293) / 60, 0.0, 1.0);
        const double oil_pa =
            state_.engine_rpm < 200 ? 0 : (3.1e5 - 0.8e5 * hot) + 1.9e5 * load + 2e3 * random_.normal();
        state_.oil_pa = towards(state_.oil_pa, oil_pa, dt_s, 1.0);
        state_.battery_v = towards(state_.battery_v, runs ? 14.1 : 12.6, dt_s, 8) + 0.005 * random_.normal();
        state_.fuel_percent = std::max(0.0, state_.fuel_percent - dt_s * (0.0002 + 0.0012 * load));
        state_.speed_mps = towards(state_.speed_mps, at_sea ? kSpeedAtSea_mps : 0.0, dt_s, 6);
        // Around its waiting place: a slow turn that keeps it within some hundred metres.
        state_.course_deg = std::fmod(state_.course_deg + 1.1 * dt_s * (state_.speed_mps / kSpeedAtSea_mps) + 360, 360);
        const double course_rad = state_.course_deg * std::numbers::pi / 180;
        state_.east_m += state_.speed_mps * std::sin(course_rad) * dt_s;
        state_.north_m += state_.speed_mps * std::cos(course_rad) * dt_s;
    }
}

SurfaceStream boat_stream(const Site& site, std::uint64_t seed, double utc_s, double for_s, double cooling_fails_s) {
    Boat boat(site, seed);
    boat.cooling_fails_s = cooling_fails_s;
    Random random(seed, "boat receiver");
    const LocalFrame frame(site.pad);
    Gusts gusts(Random(seed, "boat wind"));
    const double wind_mps = site.wind.empty() ? 3 : site.wind.front().speed_mps;
    const double from_deg = site.wind.empty() ? 245 : site.wind.front().from_deg;
    Line line;
    for (double t_s = 0; t_s < for_s; t_s += 1) {
        boat.advance(t_s);
        const BoatState& s = boat.state();
        const GeodeticPosition at =
            frame.to_geodetic({s.east_m + 0.8 * random.normal(), s.north_m + 0.8 * random.normal(), 0});
        // A receiver speaks some 80 ms after the second it speaks of.
        const double now_s = t_s + 0.08;
        const std::string time = time_of_day(std::floor(utc_s) + t_s);
        const std::string place = angle(at.latitude_deg, 2, 'N', 'S') + "," + angle(at.longitude_deg, 3, 'E', 'W');
        const double speed_mps = std::max(0.0, s.speed_mps + 0.05 * random.normal());
        gusts.advance(1.0, wind_mps, dryden_scale(3, wind_mps));
        const double wind = std::max(0.0, wind_mps + gusts.along_across_up_mps().x());
        line.say(now_s, "GPRMC," + time + ",A," + place + "," +
                            text("%.2f,%.1f,%s,,,A", speed_mps / kKnot_mps, s.course_deg,
                                 date(std::floor(utc_s) + t_s).c_str()));
        line.say(now_s, "GPGGA," + time + "," + place +
                            text(",1,11,0.9,%.1f,M,%.1f,M,,", at.height_m - site.geoid_height_m, site.geoid_height_m));
        line.say(now_s, "GPGSA,A,3,02,05,07,09,13,15,18,20,24,28,30,,1.6,0.9,1.3");
        line.say(now_s, text("ERRPM,E,1,%.0f,0.0,A", s.engine_rpm));
        line.say(now_s, text("YXXDR,C,%.1f,C,COOLANT_TEMPERATURE,P,%.3f,B,OIL_PRESSURE", s.coolant_k - 273.15,
                             s.oil_pa * 1e-5));
        line.say(now_s, text("YXXDR,C,%.1f,C,EXHAUST_TEMPERATURE,U,%.2f,V,BATTERY_VOLTAGE", s.exhaust_k - 273.15,
                             s.battery_v));
        line.say(now_s, text("YXXDR,E,%.1f,P,FUEL_LEVEL", s.fuel_percent));
        line.say(now_s, text("WIMWV,%.0f,T,%.1f,M,A", from_deg, wind));
        line.say(now_s, text("HEHDT,%.1f,T", s.course_deg));
    }
    return line.take();
}

SurfaceStream weather_stream(const Site& site, std::uint64_t seed, double for_s) {
    constexpr double kHeight_m = 6; // of the mast
    const double mean_mps = site.wind.empty() ? 3 : site.wind.front().speed_mps;
    const double from_deg = site.wind.empty() ? 245 : site.wind.front().from_deg;
    const double pressure_pa = site.pad_pressure_pa.value_or(101325),
                 temperature_k = site.pad_temperature_k.value_or(288.15);
    Random random(seed, "weather station");
    Gusts gusts(Random(seed, "weather wind"));
    Line line;
    for (double t_s = 0; t_s < for_s; t_s += 1) {
        gusts.advance(1.0, mean_mps, dryden_scale(kHeight_m, mean_mps));
        const double along_mps = mean_mps + gusts.along_across_up_mps().x();
        const double across_mps = gusts.along_across_up_mps().y();
        const double speed_mps = std::hypot(along_mps, across_mps);
        const double turned_deg = std::atan2(across_mps, along_mps) * 180 / std::numbers::pi;
        line.say(t_s + 0.05, text("WIMWV,%.1f,T,%.1f,M,A", std::fmod(from_deg + turned_deg + 720, 360), speed_mps));
        if (std::fmod(t_s, 5) != 0) continue;
        const double hours = t_s / 3600;
        line.say(t_s + 0.05, text("WIMDA,,,%.5f,B,%.1f,C,,,%.0f,,,,,,,,,,,",
                                  (pressure_pa - 40 * hours + 3 * random.normal()) * 1e-5,
                                  temperature_k - 273.15 + 0.8 * hours + 0.05 * random.normal(), 34.0));
    }
    return line.take();
}

} // namespace turnstone::sim
