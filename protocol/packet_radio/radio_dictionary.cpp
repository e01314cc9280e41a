#include "protocol/packet_radio/radio_dictionary.hpp"

#include <nlohmann/json.hpp>

#include "protocol/decode/named_tables.hpp"
#include "protocol/packet_radio/report.hpp"

namespace turnstone {
namespace {

// Sizes say nothing: no octets are decoded by them. The period is that of a busy tracker.
constexpr std::string_view kPackets = R"json([
  {"apid": 1, "name": "position", "description": "Position report", "period_ms": 5000, "secondary_header": {"fields": []}, "fields": [
    {"name": "utc_time_of_day", "title": "UTC, time of day", "type": "f64", "unit": "s", "decimals": 0, "role": "fix_utc_time_of_day"},
    {"name": "latitude", "type": "f64", "unit": "deg", "valid_range": [-90, 90], "group": "Position", "decimals": 5, "role": "latitude"},
    {"name": "longitude", "type": "f64", "unit": "deg", "valid_range": [-180, 180], "group": "Position", "decimals": 5, "role": "longitude"},
    {"name": "height_msl", "title": "Altitude MSL", "type": "f64", "unit": "m", "group": "Position", "decimals": 0, "role": "height_msl"},
    {"name": "velocity_east", "type": "f64", "unit": "m/s", "decimals": 1, "role": "velocity_east"},
    {"name": "velocity_north", "type": "f64", "unit": "m/s", "decimals": 1, "role": "velocity_north"},
    {"name": "speed", "title": "Speed over ground", "type": "f64", "unit": "m/s", "group": "Position", "decimals": 1},
    {"name": "course", "title": "Course over ground", "type": "f64", "unit": "deg", "group": "Position", "decimals": 0},
    {"name": "fix_dimensions", "type": "u8", "group": "Position", "enumeration": {"1": "none", "2": "2-D", "3": "3-D"}, "role": "fix_dimensions",
     "description": "None: an old position, or one with digits left out"},
    {"name": "accuracy_horizontal", "title": "Accuracy by the digits", "type": "f64", "unit": "m", "decimals": 0, "role": "fix_accuracy_horizontal"},
    {"name": "accuracy_speed", "title": "Accuracy of the velocity by the digits", "type": "f64", "unit": "m/s", "decimals": 1, "role": "fix_accuracy_speed"},
    {"name": "ambiguity", "title": "Digits left out", "type": "u8", "decimals": 0},
    {"name": "format", "type": "u8"},
    {"name": "symbol", "type": "text", "octets": 2, "description": "Table or overlay, and code"},
    {"name": "time", "title": "Time as sent", "type": "text", "octets": 7},
    {"name": "path", "type": "text", "octets": 80, "description": "Repeaters; the newest that has repeated it with *"},
    {"name": "gateway", "type": "text", "octets": 9, "description": "That passed it on in a frame of its own"},
    {"name": "comment", "type": "text", "octets": 256}]},
  {"apid": 2, "name": "telemetry", "description": "Telemetry report", "period_ms": 0, "secondary_header": {"fields": []}, "fields": [
    {"name": "sequence", "type": "u16", "decimals": 0}]},
  {"apid": 3, "name": "telemetry_names", "description": "What telemetry is called", "period_ms": 0, "secondary_header": {"fields": []}, "fields": [
    {"name": "kind", "type": "text", "octets": 4, "description": "PARM names, UNIT units, EQNS coefficients, BITS senses and a title"},
    {"name": "text", "type": "text", "octets": 256}]},
  {"apid": 4, "name": "heard", "description": "Others on the frequency", "period_ms": 0, "secondary_header": {"fields": []}, "fields": [
    {"name": "station", "type": "text", "octets": 9},
    {"name": "destination", "type": "text", "octets": 9},
    {"name": "path", "type": "text", "octets": 80},
    {"name": "gateway", "type": "text", "octets": 9},
    {"name": "kind", "type": "u8"},
    {"name": "refused", "type": "u8", "description": "For what part of it"},
    {"name": "name", "type": "text", "octets": 9, "description": "Of an object, an item, or who a message is for"},
    {"name": "alive", "type": "u8", "enumeration": {"0": "no", "1": "yes"}, "description": "Of an object or item"},
    {"name": "latitude", "type": "f64", "unit": "deg", "decimals": 5},
    {"name": "longitude", "type": "f64", "unit": "deg", "decimals": 5},
    {"name": "height_msl", "title": "Altitude MSL", "type": "f64", "unit": "m", "decimals": 0},
    {"name": "speed", "title": "Speed over ground", "type": "f64", "unit": "m/s", "decimals": 1},
    {"name": "course", "title": "Course over ground", "type": "f64", "unit": "deg", "decimals": 0},
    {"name": "ambiguity", "title": "Digits left out", "type": "u8", "decimals": 0},
    {"name": "symbol", "type": "text", "octets": 2},
    {"name": "text", "type": "text", "octets": 256, "description": "Comment, status or message"}]},
  {"apid": 5, "name": "weather", "description": "Weather reports on the frequency", "period_ms": 0, "secondary_header": {"fields": []}, "fields": [
    {"name": "station", "type": "text", "octets": 9},
    {"name": "latitude", "type": "f64", "unit": "deg", "valid_range": [-90, 90], "decimals": 5},
    {"name": "longitude", "type": "f64", "unit": "deg", "valid_range": [-180, 180], "decimals": 5},
    {"name": "wind_from", "title": "Wind from", "type": "f64", "unit": "deg", "group": "Wind", "decimals": 0},
    {"name": "wind_speed", "title": "Wind, mean of a minute", "type": "f64", "unit": "m/s", "group": "Wind", "decimals": 1},
    {"name": "wind_gust", "title": "Strongest gust in five minutes", "type": "f64", "unit": "m/s", "group": "Wind", "decimals": 1},
    {"name": "temperature", "type": "f64", "unit": "Cel", "decimals": 1},
    {"name": "humidity", "title": "Relative humidity", "type": "f64", "unit": "%", "decimals": 0},
    {"name": "pressure", "type": "f64", "unit": "Pa", "decimals": 0, "description": "As sent: most senders reduce it to sea level"},
    {"name": "rain_1h", "title": "Rain in an hour", "type": "f64", "unit": "mm", "group": "Rain", "decimals": 1},
    {"name": "rain_24h", "title": "Rain in 24 hours", "type": "f64", "unit": "mm", "group": "Rain", "decimals": 1},
    {"name": "rain_midnight", "title": "Rain since midnight", "type": "f64", "unit": "mm", "group": "Rain", "decimals": 1},
    {"name": "snow_24h", "title": "Snow in 24 hours", "type": "f64", "unit": "mm", "group": "Rain", "decimals": 0},
    {"name": "luminosity", "type": "f64", "unit": "W/m2", "decimals": 0},
    {"name": "object", "type": "text", "octets": 9, "description": "Whose weather it is, when not the station's own"},
    {"name": "time", "title": "Time as sent", "type": "text", "octets": 8},
    {"name": "path", "type": "text", "octets": 80},
    {"name": "gateway", "type": "text", "octets": 9},
    {"name": "text", "type": "text", "octets": 256, "description": "What is behind the figures"}]}
])json";

template <class Word>
nlohmann::json enumeration() {
    nlohmann::json out = nlohmann::json::object();
    for (std::size_t k = 0; k < kWords<Word>.size(); ++k) out[std::to_string(k)] = std::string(kWords<Word>[k]);
    return out;
}

nlohmann::json packets() {
    nlohmann::json out = nlohmann::json::parse(kPackets);
    const auto field = [&](std::size_t packet, std::string_view name) -> nlohmann::json& {
        for (nlohmann::json& each : out.at(packet).at("fields"))
            if (each.at("name") == name) return each;
        return out.at(packet);
    };
    field(0, "format")["enumeration"] = enumeration<PositionFormat>();
    field(3, "kind")["enumeration"] = enumeration<ReportKind>();
    field(3, "refused")["enumeration"] = enumeration<ReportFault>();
    nlohmann::json& telemetry = out.at(1).at("fields");
    const auto add = [&](const std::string& name, const std::string& description) {
        telemetry.push_back({{"name", name}, {"type", "f64"}, {"description", description}});
    };
    for (std::size_t k = 1; k <= kAnalogCount; ++k) add("analog_" + std::to_string(k), "As sent");
    for (std::size_t k = 1; k <= kAnalogCount; ++k)
        add("value_" + std::to_string(k), "By the coefficients that the sender gives");
    for (std::size_t k = 1; k <= kBitCount; ++k)
        telemetry.push_back({{"name", "bit_" + std::to_string(k)}, {"type", "u1"}});
    telemetry.push_back({{"name", "comment"}, {"type", "text"}, {"octets", 256}});
    return out;
}

bool is_telemetry_value(std::string_view packet, std::string_view column) {
    return packet == "telemetry" && (column.starts_with("analog_") || column.starts_with("value_"));
}

} // namespace

std::string radio_dictionary_json(std::string_view vehicle) {
    const nlohmann::json out = {{"vehicle", vehicle}, {"version", "radio-1"}, {"packets", packets()}};
    return out.dump(1);
}

void check_radio_dictionary(const Dictionary& dictionary, const std::string& file, std::vector<Problem>& problems) {
    const nlohmann::json made = packets();
    check_named_tables({made, "report", "reports", "protocol/PACKET_RADIO.md", is_telemetry_value}, dictionary, file,
                       problems);
}

} // namespace turnstone
