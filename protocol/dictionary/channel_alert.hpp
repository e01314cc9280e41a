#pragma once
/// What of a channel raises an alert: protocol/DICTIONARY.md, section 8.
#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "shared/json_reader.hpp"
#include "shared/words.hpp"

namespace turnstone {

struct Field;

/// How urgent it is: the levels of 14 CFR 25.1322.
enum class Urgency : unsigned char { advisory, caution, warning };
consteval auto words_of(Urgency) {
    return words<Urgency::warning>("advisory", "caution", "warning");
}

enum class AlertCause : unsigned char {
    below,
    above,
    rate,    ///< it changes faster than a limit
    stuck,   ///< it does not change
    stale,   ///< it is not received, though the vehicle is
    expected ///< it is none of the values it should have
};
consteval auto words_of(AlertCause) {
    return words<AlertCause::expected>("below", "above", "rate", "stuck", "stale", "expected");
}

/// The phases of a flight, by the names they have in files.
inline constexpr std::array<std::string_view, 8> kPhaseNames{
    "on_the_rail", "under_thrust", "coasting", "falling", "under_drogue", "under_main", "down", "presumed_down"};

/// What another channel of the vehicle must be for an alert to count: an oil pressure is low while the engine runs.
struct AlertWhile {
    std::string channel;                  ///< "table.channel"; empty: always
    std::optional<double> below, above{}; ///< one of them
    double for_s = 0;                     ///< that it must have been so
};

struct ChannelAlert {
    AlertCause cause = AlertCause::below;
    std::array<std::optional<double>, kWords<Urgency>.size()> limits = {}; ///< by urgency: below, above, rate
    double for_s = 0;                                                      ///< stuck, stale: how long
    std::vector<double> expected = {};                                     ///< the numbers
    Urgency urgency = Urgency::caution;                                    ///< of what has no limits
    double deadband = 0;                   ///< how far back over a limit ends it; stuck: how little counts as no change
    std::optional<double> on_delay_s = {}; ///< that it must hold before it is raised
    std::optional<double> off_delay_s = {}; ///< and be over before it is cleared
    bool is_latching = false;
    std::vector<std::size_t> phases = {}; ///< of kPhaseNames, in which it counts; empty: in all
    AlertWhile only_while = {};
    std::string advice = {}; ///< what to do; empty: nothing is said
};

/// Reads "alerts" of a field that is read otherwise.
[[nodiscard]] std::vector<ChannelAlert> read_alerts(JsonReader& field_reader, const Field& field);

} // namespace turnstone
