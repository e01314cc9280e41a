#pragma once
/// The dictionary of a vehicle that says nothing but packet radio reports, and what a dictionary of one's own must keep
/// to: protocol/PACKET_RADIO.md.
#include <string>
#include <string_view>
#include <vector>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {

/// dictionary.json of all that reports can fill.
[[nodiscard]] std::string radio_dictionary_json(std::string_view vehicle);

/// Appends what of a dictionary reports could not fill.
void check_radio_dictionary(const Dictionary& dictionary, const std::string& file, std::vector<Problem>& problems);

} // namespace turnstone
