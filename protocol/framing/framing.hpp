#pragma once
/// How the bytes of a link are cut into frames, as the link's URI says it: framing=NAME and the options of that
/// framing, each key=value. The URI stands in the recording, so that a replay cuts as the station did.
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "protocol/coding/tm_format.hpp"
#include "protocol/framing/binary_deframer.hpp"
#include "protocol/framing/escaped_deframer.hpp"
#include "protocol/framing/line_deframer.hpp"
#include "shared/result.hpp"

namespace turnstone {

/// protocol/LINK.md
struct CobsFraming {};
/// protocol/NMEA.md
struct NmeaFraming {
    bool checksum_required = true;
    /// Where the zero mark of a fixed anemometer points, degrees from true north: its angles are then of the wind, and
    /// not of what a moving vehicle feels. Empty: unknown.
    std::optional<double> anemometer_deg = {};
};
/// A column of lines, as names= has it: "alt_m", or "state:text".
struct LineColumn {
    std::string name;
    bool is_text = false;
    friend bool operator==(const LineColumn&, const LineColumn&) = default;
};
/// protocol/TEXT.md
struct TextFraming {
    char separator = ',';
    char decimal = '.';
    LineChecksum checksum = LineChecksum::none;
    std::string packet = {};            ///< of the dictionary, that a line is; empty: its first
    std::vector<LineColumn> names = {}; ///< where there is no dictionary
};
/// protocol/BINARY.md
struct BinaryFraming {
    BinaryFormat format;
};
/// protocol/STUFFING.md
struct EscapedFraming {
    EscapedFormat format;
};
/// protocol/PACKET_RADIO.md
struct RadioFraming {
    EscapedFormat format;
    std::string station = {}; ///< the vehicle's, as ax25_name() has it; empty: none that is heard
};
/// protocol/TM.md
struct TmFraming {
    TmFormat format;
};
/// protocol/TM.md, section 5
struct PacketsFraming {
    std::vector<std::byte> sync = {}; ///< before each packet; empty: none
};
using Framing = std::variant<CobsFraming, NmeaFraming, TextFraming, BinaryFraming, EscapedFraming, RadioFraming,
                             TmFraming, PacketsFraming>;

using FramingOptions = std::vector<std::pair<std::string, std::string>>;

/// Takes framing= and what belongs to it out of `options`; the rest stays. Without framing= it is cobs, which has no
/// options. Fails with "has ...; ...": what is wrong and what was expected; put the name of the link in front.
[[nodiscard]] Result<Framing> take_framing(FramingOptions& options);

/// Lines of help, for the links of a settings file.
[[nodiscard]] std::string framing_help();

} // namespace turnstone
