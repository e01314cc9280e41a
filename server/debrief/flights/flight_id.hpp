#pragma once
/// What a flight is called by programs: RECORDING~VEHICLE~N.
#include <cstddef>
#include <string>
#include <string_view>

#include "shared/result.hpp"

namespace turnstone::debrief {

struct FlightId {
    std::string recording; ///< its id
    std::string vehicle;   ///< its name in the dictionary
    std::size_t number;    ///< of the chapter, from 1

    friend bool operator==(const FlightId&, const FlightId&) = default;
};

[[nodiscard]] Result<FlightId> parse_flight_id(std::string_view text);
[[nodiscard]] std::string to_string(const FlightId& id);

} // namespace turnstone::debrief
