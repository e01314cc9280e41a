#pragma once
/// Dictionaries from XTCE, the XML telemetric and command exchange of CCSDS 660.0-B (1.2; documents of 1.0 and 1.1 use
/// the same elements for what is read here): protocol/XTCE.md. What the dictionary cannot say is not carried over, and
/// is said.
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "shared/json_reader.hpp"

namespace turnstone {

/// A construct that was left out.
struct NotCarried {
    long line;        ///< of the document
    std::string what; ///< element or attribute, with the name of what it is part of
    std::string why;
};

struct XtceImport {
    std::string dictionary; ///< dictionary.json, which read_dictionary() takes
    std::size_t packets = 0, fields = 0;
    std::vector<NotCarried> not_carried; ///< in the order of the document
};

/// Empty: mistakes were appended, or nothing of it is a packet.
[[nodiscard]] std::optional<XtceImport> import_xtce(std::string_view xml, const std::string& file,
                                                    std::vector<Problem>& problems);

} // namespace turnstone
