#include "server/debrief/flights/flight_id.hpp"

#include <charconv>

namespace turnstone::debrief {

namespace {

constexpr std::size_t kIdBytesMax = 300;

} // namespace

Result<FlightId> parse_flight_id(std::string_view text) {
    const auto wrong = [&] {
        return fail("'" + std::string(text.substr(0, 80)) +
                    "' is not the id of a flight; it is RECORDING~VEHICLE~N, as GET /api/flights lists it");
    };
    const std::size_t first = text.find('~'), last = text.rfind('~');
    if (text.size() > kIdBytesMax || first == std::string_view::npos || first == last) return wrong();
    FlightId id{.recording = std::string(text.substr(0, first)),
                .vehicle = std::string(text.substr(first + 1, last - first - 1)),
                .number = 0};
    const std::string_view number = text.substr(last + 1);
    const auto [end, error] = std::from_chars(number.data(), number.data() + number.size(), id.number);
    if (error != std::errc() || end != number.data() + number.size() || id.number == 0 || id.recording.empty() ||
        id.vehicle.empty() || id.vehicle.find('~') != std::string::npos)
        return wrong();
    return id;
}

std::string to_string(const FlightId& id) {
    return id.recording + "~" + id.vehicle + "~" + std::to_string(id.number);
}

} // namespace turnstone::debrief
