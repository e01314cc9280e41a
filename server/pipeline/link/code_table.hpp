#pragma once
/// What the code of a telemetry stream (protocol/TM.md) tells of its link, and what of it is left.
#include <optional>
#include <string>

#include "protocol/reading/frame_reader.hpp"
#include "server/pipeline/series.hpp"

namespace turnstone {

/// What the table of a code is filled from: its counters at the end and at the beginning of a second.
struct CodePeriod {
    const CodeFigures& now;
    const CodeFigures& before;
    unsigned correctable; ///< symbols of a Reed-Solomon codeword; 0: there is none
};
/// "link/<name>/code": once a second.
[[nodiscard]] TableOf<CodePeriod> code_table();

/// Symbols that a codeword of the link with this URI corrects, 0 without such a code; empty: of another framing.
[[nodiscard]] std::optional<unsigned> code_of_link(const std::string& uri);

} // namespace turnstone
