#pragma once
/// XTCE documents (CCSDS 660.0-B-2, XTCE 1.2) of dictionaries: protocol/XTCE.md. What is not written is said.
#include <string>
#include <vector>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {

/// Something of the dictionary that the document does not say, or says otherwise.
struct NotWritten {
    std::string where; ///< "packet.field", "packet.group", "packet"; empty: the dictionary
    std::string what;
    std::string why; ///< and what to do
};

struct XtceExport {
    std::string xml; ///< UTF-8
    std::size_t packets = 0, fields = 0;
    std::vector<NotWritten> not_written; ///< in the order of the dictionary
};

[[nodiscard]] XtceExport export_xtce(const Dictionary& dictionary);

} // namespace turnstone
