#include "protocol/nmea/nmea_dictionary.hpp"

#include <nlohmann/json.hpp>

#include "protocol/decode/named_tables.hpp"

namespace turnstone {
namespace {

// Sizes say nothing: no octets are decoded by them.
constexpr std::string_view kPackets = R"json([
  {"apid": 1, "name": "fix", "description": "GNSS fix, joined from the sentences of one moment", "period_ms": 1000,
   "secondary_header": {"fields": []}, "fields": [
    {"name": "utc", "title": "UTC", "type": "time", "is_packet_time": true, "unit": "s", "decimals": 2, "role": "fix_utc",
     "code": {"format": "counter", "coarse_octets": 5, "fine_octets": 2, "fine_hz": 1000, "epoch": "1970-01-01T00:00:00Z", "scale": "utc"}},
    {"name": "utc_time_of_day", "title": "UTC, time of day", "type": "f64", "unit": "s", "decimals": 2, "role": "fix_utc_time_of_day"},
    {"name": "latitude", "type": "f64", "unit": "deg", "valid_range": [-90, 90], "group": "Position", "decimals": 6, "role": "latitude"},
    {"name": "longitude", "type": "f64", "unit": "deg", "valid_range": [-180, 180], "group": "Position", "decimals": 6, "role": "longitude"},
    {"name": "height_msl", "title": "Altitude MSL", "type": "f64", "unit": "m", "group": "Position", "decimals": 1, "role": "height_msl"},
    {"name": "geoid_separation", "type": "f64", "unit": "m", "decimals": 1,
     "description": "Geoid above the ellipsoid, as the receiver models it"},
    {"name": "height_ellipsoid", "title": "Height above the ellipsoid", "type": "f64", "unit": "m", "decimals": 1, "role": "height_ellipsoid"},
    {"name": "velocity_east", "type": "f64", "unit": "m/s", "decimals": 1, "role": "velocity_east"},
    {"name": "velocity_north", "type": "f64", "unit": "m/s", "decimals": 1, "role": "velocity_north"},
    {"name": "speed", "title": "Speed over ground", "type": "f64", "unit": "m/s", "group": "Position", "decimals": 1},
    {"name": "course", "title": "Course over ground", "type": "f64", "unit": "deg", "group": "Position", "decimals": 0},
    {"name": "fix_quality", "type": "u8", "group": "Position", "enumeration": {"0": "none", "1": "GNSS", "2": "differential",
     "3": "precise", "4": "carrier phase, fixed", "5": "carrier phase, float", "6": "estimated", "7": "by hand", "8": "simulated"}},
    {"name": "fix_dimensions", "type": "u8", "group": "Position", "enumeration": {"1": "none", "2": "2-D", "3": "3-D"}, "role": "fix_dimensions"},
    {"name": "satellites_used", "type": "u16", "group": "Position", "decimals": 0, "role": "satellites_used"},
    {"name": "pdop", "title": "PDOP", "type": "f64", "decimals": 1},
    {"name": "hdop", "title": "HDOP", "type": "f64", "group": "Position", "decimals": 1},
    {"name": "vdop", "title": "VDOP", "type": "f64", "decimals": 1},
    {"name": "magnetic_variation", "type": "f64", "unit": "deg", "decimals": 1, "description": "East positive"}]},
  {"apid": 2, "name": "satellites", "description": "Satellites in view", "period_ms": 0, "secondary_header": {"fields": []}, "fields": [
    {"name": "in_view", "title": "Satellites in view", "type": "u16", "decimals": 0},
    {"name": "system", "type": "text", "octets": 2, "description": "Talker: GP GPS, GL GLONASS, GA Galileo, GB BeiDou, GQ QZSS"},
    {"name": "satellite", "count": "to_end", "fields": [
      {"name": "number", "type": "u16", "decimals": 0},
      {"name": "elevation", "type": "f64", "unit": "deg", "decimals": 0},
      {"name": "azimuth", "type": "f64", "unit": "deg", "decimals": 0},
      {"name": "signal", "title": "Signal to noise density", "type": "f64", "unit": "dB.Hz", "decimals": 0}]}]},
  {"apid": 3, "name": "wind", "description": "Anemometer", "period_ms": 1000, "secondary_header": {"fields": []}, "fields": [
    {"name": "angle", "title": "Wind angle", "type": "f64", "unit": "deg", "decimals": 0, "description": "As sent"},
    {"name": "reference", "type": "u8", "enumeration": {"0": "relative", "1": "true"}, "description": "Of the angle and the speed"},
    {"name": "speed", "title": "Wind speed as sent", "type": "f64", "unit": "m/s", "decimals": 1},
    {"name": "wind_speed", "type": "f64", "unit": "m/s", "group": "Wind", "decimals": 1, "role": "wind_speed", "description": "True"},
    {"name": "wind_from", "type": "f64", "unit": "deg", "group": "Wind", "decimals": 0, "role": "wind_from", "description": "From true north"}]},
  {"apid": 4, "name": "weather", "description": "Meteorological composite", "period_ms": 0, "secondary_header": {"fields": []}, "fields": [
    {"name": "pressure", "title": "Air pressure", "type": "f64", "unit": "Pa", "group": "Weather", "decimals": 0},
    {"name": "air_temperature", "type": "f64", "unit": "K", "group": "Weather", "decimals": 1},
    {"name": "water_temperature", "type": "f64", "unit": "K", "group": "Weather", "decimals": 1},
    {"name": "relative_humidity", "type": "f64", "unit": "%", "group": "Weather", "decimals": 0},
    {"name": "absolute_humidity", "type": "f64", "unit": "g/m3", "decimals": 1},
    {"name": "dew_point", "type": "f64", "unit": "K", "group": "Weather", "decimals": 1},
    {"name": "wind_speed", "type": "f64", "unit": "m/s", "group": "Wind", "decimals": 1, "role": "wind_speed"},
    {"name": "wind_from", "type": "f64", "unit": "deg", "group": "Wind", "decimals": 0, "role": "wind_from"},
    {"name": "wind_from_magnetic", "type": "f64", "unit": "deg", "decimals": 0}]},
  {"apid": 5, "name": "heading", "description": "Heading", "period_ms": 0, "secondary_header": {"fields": []}, "fields": [
    {"name": "heading", "type": "f64", "unit": "deg", "group": "Position", "decimals": 0, "description": "From true north"}]},
  {"apid": 6, "name": "engine", "description": "Revolutions", "period_ms": 0, "secondary_header": {"fields": []}, "fields": [
    {"name": "engine_speed", "type": "f64", "unit": "{rev}/min", "group": "Engine", "decimals": 0, "role": "engine_speed", "description": "Of the first engine"},
    {"name": "speed", "title": "Speed as sent", "type": "f64", "unit": "{rev}/min", "decimals": 0, "description": "Reverse is negative"},
    {"name": "source", "type": "u8", "enumeration": {"0": "shaft", "1": "engine"}},
    {"name": "number", "type": "u8", "decimals": 0},
    {"name": "pitch", "title": "Propeller pitch", "type": "f64", "unit": "%", "decimals": 0}]},
  {"apid": 7, "name": "transducers", "description": "Transducers", "period_ms": 0, "secondary_header": {"fields": []}, "fields": [
    {"name": "other", "count": "to_end", "fields": [
      {"name": "value", "type": "f64", "description": "Temperatures in kelvin and pressures in pascal"},
      {"name": "type", "type": "text", "octets": 1},
      {"name": "unit", "type": "text", "octets": 1, "description": "As sent"},
      {"name": "name", "type": "text", "octets": 32}]}]}
])json";

nlohmann::json packets() {
    return nlohmann::json::parse(kPackets);
}

} // namespace

std::string nmea_dictionary_json(std::string_view vehicle) {
    const nlohmann::json out = {{"vehicle", vehicle}, {"version", "nmea-1"}, {"packets", packets()}};
    return out.dump(1);
}

void check_nmea_dictionary(const Dictionary& dictionary, const std::string& file, std::vector<Problem>& problems) {
    const nlohmann::json made = packets();
    check_named_tables({made, "sentence", "sentences", "protocol/NMEA.md"}, dictionary, file, problems);
}

} // namespace turnstone
