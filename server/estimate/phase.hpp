#pragma once
/// The words for a flight's phases and for the moments between them.
#include <cstddef>
#include <cstdint>
#include <string_view>

namespace turnstone {

enum class Phase : unsigned char {
    on_pad,
    powered_ascent,
    coast,          ///< from burn-out to apogee
    descent,        ///< from apogee until a canopy is seen
    drogue_descent,
    main_descent,
    landed
};
inline constexpr std::size_t kPhaseCount = 7;

[[nodiscard]] constexpr std::string_view phase_word(Phase phase) noexcept {
    constexpr std::string_view words[kPhaseCount] = {"on the pad",     "powered ascent", "coast", "descent",
                                                     "drogue descent", "main descent",   "landed"};
    return words[static_cast<std::size_t>(phase)];
}

/// A moment of a flight. `withdrawn` takes back a lift-off that turned out to be none.
enum class Moment : unsigned char {
    lift_off,
    burn_out,
    apogee,
    drogue_deployment,
    main_deployment,
    landing,
    withdrawn
};

/// Stable word for keys ("phase/lift_off") and the sentence for people.
[[nodiscard]] constexpr std::string_view moment_key(Moment moment) noexcept {
    constexpr std::string_view keys[] = {"lift_off",        "burn_out", "apogee",  "drogue_deployment",
                                         "main_deployment", "landing",  "withdrawn"};
    return keys[static_cast<std::size_t>(moment)];
}
[[nodiscard]] constexpr std::string_view moment_text(Moment moment) noexcept {
    constexpr std::string_view texts[] = {"Lift-off",       "Burn-out",
                                          "Apogee",         "Drogue deployment",
                                          "Main deployment", "Landing",
                                          "No lift-off after all: at rest on the pad"};
    return texts[static_cast<std::size_t>(moment)];
}

[[nodiscard]] constexpr Phase phase_begun_by(Moment moment) noexcept {
    constexpr Phase phases[] = {Phase::powered_ascent, Phase::coast,        Phase::descent, Phase::drogue_descent,
                                Phase::main_descent,   Phase::landed,       Phase::on_pad};
    return phases[static_cast<std::size_t>(moment)];
}

/// When something happened, back-dated, and when it was recognised.
struct FoundMoment {
    Moment moment;
    std::int64_t t_ns;
    double t_sigma_s;
    std::int64_t t_found_ns;
};

} // namespace turnstone
