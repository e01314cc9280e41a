#pragma once
/// What names and titles of channels say: the title of one that has none, and which of them are axes of one vector.
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace turnstone {

/// "descent_rate_mps" with unit "m/s" gives "Descent rate"; a last word that does not spell the unit stays. A name that
/// ends in "_sigma" is the 1-sigma of another: "altitude_m_sigma" gives "Altitude, 1-sigma".
[[nodiscard]] std::string title_from_name(std::string_view name, std::string_view unit);

/// A channel's place on a strip that it shares with others of its table.
struct StripLine {
    std::string title; ///< of the strip, the same for each of its channels: "Velocity"; empty: a strip of its own
    std::string line;  ///< tells this channel from the others: "east"
    friend bool operator==(const StripLine&, const StripLine&) = default;
};

struct ChannelLabels {
    std::string_view name, title, unit, group;
    bool is_number = true; ///< neither a text nor a word
};

/// Channels of one table whose names differ in a last x, y, z, w, east, north, up or number, with one unit and one
/// group, share a strip: "velocity_east" and "velocity_north". Its title is what their titles have in common; the first
/// may have a title of its own ("Roll rate" beside "Turn rate, body y" and "Turn rate, body z").
[[nodiscard]] std::vector<StripLine> strips_from_names(std::span<const ChannelLabels> channels);

} // namespace turnstone
