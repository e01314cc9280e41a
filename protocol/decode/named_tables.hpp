#pragma once
/// Tables that are filled by the names of their columns (named_row.hpp): what a dictionary of one's own must keep to.
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {

struct NamedTables {
    const nlohmann::json& packets; ///< of the dictionary that names every table, column and unit
    std::string_view one, several; ///< what fills them: "sentence", "sentences"
    std::string_view page;         ///< that says how: "protocol/NMEA.md"
    /// Columns of whose values the sender alone knows the unit.
    bool (*has_any_unit)(std::string_view packet, std::string_view column) = nullptr;
};

/// Appends what of a dictionary they could not fill: a packet with a name of theirs whose columns are not theirs, a
/// unit that is another, unless a calibration leads to it; no such packet at all. A packet that has no columns of its
/// own in `tables` may have any.
void check_named_tables(const NamedTables& tables, const Dictionary& dictionary, const std::string& file,
                        std::vector<Problem>& problems);

} // namespace turnstone
