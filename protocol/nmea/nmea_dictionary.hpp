#pragma once
/// The dictionary of a vehicle that says nothing but NMEA 0183 sentences, and what a dictionary of one's own must keep
/// to: protocol/NMEA.md.
#include <string>
#include <string_view>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {

/// dictionary.json of all that sentences can fill.
[[nodiscard]] std::string nmea_dictionary_json(std::string_view vehicle);

/// Appends what of a dictionary sentences could not fill: a packet with their name whose columns are not theirs, a unit
/// that is another; no such packet at all.
void check_nmea_dictionary(const Dictionary& dictionary, const std::string& file, std::vector<Problem>& problems);

} // namespace turnstone
