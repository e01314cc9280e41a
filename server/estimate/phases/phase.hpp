#pragma once
/// The words for a flight's phases and for the moments between them.
#include <cstddef>
#include <cstdint>
#include <string_view>

namespace turnstone {

enum class Phase : unsigned char {
    on_pad,
    powered_ascent,
    coast,   ///< from burn-out to apogee
    descent, ///< from apogee until a canopy is seen
    drogue_descent,
    main_descent,
    landed,
    presumed_down ///< silent since in flight, and by now it must have come down
};
inline constexpr std::size_t kPhaseCount = 8;

[[nodiscard]] constexpr std::string_view phase_word(Phase phase) noexcept {
    constexpr std::string_view words[kPhaseCount] = {"on the pad",     "powered ascent", "coast",  "descent",
                                                     "drogue descent", "main descent",   "landed", "presumed down"};
    return words[static_cast<std::size_t>(phase)];
}

/// A moment of a flight, and below `landing` what is said about the flight as a whole.
enum class Moment : unsigned char {
    lift_off,
    burn_out,
    apogee,
    drogue_deployment,
    main_deployment,
    landing,
    withdrawn,     ///< takes back a lift-off that turned out to be none
    contact_lost,  ///< silent; the time is that of the expected impact
    contact_again, ///< takes back contact_lost
    ready_again    ///< upright at rest after a landing: the next flight may begin
};

/// Stable word for keys ("phase/lift_off") and the sentence for people.
[[nodiscard]] constexpr std::string_view moment_key(Moment moment) noexcept {
    constexpr std::string_view keys[] = {"lift_off",        "burn_out",   "apogee",    "drogue_deployment",
                                         "main_deployment", "landing",    "withdrawn", "contact_lost",
                                         "contact_again",   "ready_again"};
    return keys[static_cast<std::size_t>(moment)];
}
[[nodiscard]] constexpr std::string_view moment_text(Moment moment) noexcept {
    constexpr std::string_view texts[] = {"Lift-off",
                                          "Burn-out",
                                          "Apogee",
                                          "Drogue deployment",
                                          "Main deployment",
                                          "Landing",
                                          "No lift-off after all: at rest on the pad",
                                          "Contact lost in flight: presumed down",
                                          "Contact again: the flight goes on being watched",
                                          "At rest after a landing: ready for another flight"};
    return texts[static_cast<std::size_t>(moment)];
}

/// When something happened, back-dated, and when it was recognised.
struct FoundMoment {
    Moment moment;
    std::int64_t t_ns;
    double t_sigma_s;
    std::int64_t t_found_ns;
    Phase phase; ///< that begins with it
};

} // namespace turnstone
