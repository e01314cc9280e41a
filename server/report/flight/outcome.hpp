#pragma once
/// What a flight came to: its figures, where it came down, and what had been predicted.
#include <optional>
#include <string>

#include "server/report/flight/flight.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

struct LandingPlace {
    double east_m, north_m;
    double east_sigma_m, north_sigma_m;
    double latitude_deg, longitude_deg;

    [[nodiscard]] double distance_m() const;
    [[nodiscard]] double distance_sigma_m() const;
    [[nodiscard]] double bearing_deg() const;
};

/// Where it lies after touchdown, or was last known to be; empty without navigation.
[[nodiscard]] std::optional<LandingPlace> landing_place(const Recorded& recorded, const Flight& flight);

/// "Apogee 1107 ± 2 m AGL. Down 114 ± 1 m from the pad at 116°."
[[nodiscard]] std::string outcome_sentence(const Recorded& recorded, const Flight& flight);

[[nodiscard]] Markup key_figures_chapter(const Recorded& recorded, const Flight& flight);
[[nodiscard]] Markup phases_chapter(const Recorded& recorded, const Flight& flight);
[[nodiscard]] Markup predictions_chapter(const Recorded& recorded, const Flight& flight);

} // namespace turnstone::report
