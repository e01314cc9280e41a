#pragma once
/// Vehicles without a dictionary of their own: what their links bring says itself what it is.
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "server/link/link_uri.hpp"
#include "server/pipeline/setup.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

/// dictionary.json for a vehicle that has none, by the framing of a link that carries it: of framing=nmea all that
/// sentences can fill; of holds=aprs all that reports can fill; of framing=text the columns of names=, or of a
/// capture's header line. Empty: a link of that kind needs a dictionary.
[[nodiscard]] std::optional<std::string> dictionary_of_link(const LinkUri& uri, std::string_view vehicle);

/// Makes a vehicle for each link that names none of `vehicles` and describes itself, and for the links that name none
/// when there are no vehicles ("receiver").
void add_self_described(const std::vector<LinkUri>& links, std::vector<VehicleSetup>& vehicles,
                        std::vector<Problem>& problems);

} // namespace turnstone
