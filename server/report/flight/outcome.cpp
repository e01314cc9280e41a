#include "server/report/flight/outcome.hpp"

#include <cmath>
#include <numbers>
#include <string_view>

#include <fmt/format.h>

#include "server/debrief/flights/key_figures.hpp"
#include "server/report/chapters/clock.hpp"
#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

namespace {

constexpr double kDegreesPerRadian = 180 / std::numbers::pi;

/// Where a key figure has its time in the table "derived"; empty: it has none.
const char* time_column_of(std::string_view key) {
    if (key == "apogee_m") return "altitude_max_t_s";
    if (key == "maximum_speed_mps") return "vertical_speed_max_t_s";
    if (key == "maximum_acceleration_mps2") return "force_max_t_s";
    return nullptr;
}

/// What the table "derived" has besides.
struct FurtherFigure {
    const char* column;
    const char* time_column = nullptr;
};
constexpr FurtherFigure kFurtherFigures[] = {
    {"mach_max", "mach_max_t_s"},
    {"dynamic_pressure_max_pa", "dynamic_pressure_max_t_s"},
    {"roll_rate_max_radps", "roll_rate_max_t_s"},
    {"speed_gained_mps"},
    {"net_acceleration_mps2"},
};

std::string figure_text(const debrief::Figure& figure) {
    if (figure.unit == "{fraction}") return fraction_text(figure.value);
    return quantity(figure.value, figure.sigma, figure.unit == "m" ? 0 : figure.unit == "s" ? 2 : 1, figure.unit);
}

std::string time_text(const std::optional<RowValues>& derived, const char* column) {
    const double at_s = derived && column != nullptr ? derived->value(column) : std::nan("");
    return std::isnan(at_s) ? "" : flight_clock(at_s);
}

std::optional<RowValues> derived_at_end(const Recorded& recorded, const Flight& flight) {
    return recorded.row_at(recorded.table(flight.vehicle, "estimate/derived"), flight.window.to_ns - 1);
}

} // namespace

double LandingPlace::distance_m() const {
    return std::hypot(east_m, north_m);
}

double LandingPlace::distance_sigma_m() const {
    const double distance = distance_m();
    return distance > 0 ? std::hypot(east_m * east_sigma_m, north_m * north_sigma_m) / distance
                        : std::hypot(east_sigma_m, north_sigma_m);
}

double LandingPlace::bearing_deg() const {
    const double bearing = std::atan2(east_m, north_m) * kDegreesPerRadian;
    return bearing < 0 ? bearing + 360 : bearing;
}

std::optional<LandingPlace> landing_place(const Recorded& recorded, const Flight& flight) {
    const auto row = recorded.row_at(recorded.table(flight.vehicle, "estimate/navigation"), flight.window.to_ns - 1);
    if (!row || row->t_ns() < flight.liftoff_ns || std::isnan(row->value("east_m"))) return std::nullopt;
    return LandingPlace{row->value("east_m"),  row->value("north_m"),      row->sigma("east_m"),
                        row->sigma("north_m"), row->value("latitude_deg"), row->value("longitude_deg")};
}

std::string outcome_sentence(const Recorded& recorded, const Flight& flight) {
    std::string text;
    const auto derived = derived_at_end(recorded, flight);
    if (derived && !std::isnan(derived->value("altitude_max_m")))
        text += fmt::format("{} {} AGL. ", flight.apogee_ns ? "Apogee" : "Maximum altitude",
                            quantity(derived->value("altitude_max_m"), derived->sigma("altitude_max_m"), 0, "m"));
    const auto place = landing_place(recorded, flight);
    if (flight.touchdown_ns && place)
        text +=
            fmt::format("Down {} from the pad at {}.", quantity(place->distance_m(), place->distance_sigma_m(), 0, "m"),
                        bearing_text(place->bearing_deg()));
    else if (flight.touchdown_ns)
        text += "Down; the place is not known.";
    else
        text += "Touchdown not seen.";
    return text;
}

Markup key_figures_chapter(const Recorded& recorded, const Flight& flight) {
    const auto derived = derived_at_end(recorded, flight);
    LedgerTable table({{"Key figures"}, {"", true}, {"at", true}});
    for (const debrief::Chapter& chapter : debrief::chapters_in(recorded)) {
        if (chapter.vehicle != flight.vehicle || chapter.number != flight.number) continue;
        for (const debrief::Figure& figure : debrief::key_figures(recorded, chapter)) {
            // Where it came down has a row of its own below.
            if (std::isnan(figure.value) || figure.key.starts_with("landing_")) continue;
            table.row({Markup::text(figure.title), strong(figure_text(figure)),
                       Markup::text(time_text(derived, time_column_of(figure.key)))});
        }
    }
    if (derived)
        for (const FurtherFigure& figure : kFurtherFigures) {
            const auto place = number_column(derived->table(), figure.column);
            if (!place || std::isnan(derived->value(figure.column))) continue;
            const Column& column = derived->table().columns[*place];
            table.row({Markup::text(column.title),
                       strong(quantity(derived->value(figure.column), derived->sigma(figure.column), column.decimals,
                                       column.unit)),
                       Markup::text(time_text(derived, figure.time_column))});
        }
    if (flight.burnout_ns) {
        const auto row = recorded.row_at(recorded.table(flight.vehicle, "estimate/navigation"), *flight.burnout_ns);
        if (row && row->t_ns() >= flight.liftoff_ns && std::isfinite(row->value("tilt_deg")))
            table.row({Markup::text("Tilt at burnout"),
                       strong(quantity(row->value("tilt_deg"), row->sigma("tilt_deg"), 1, "deg")),
                       Markup::text(flight_clock(seconds_between(flight.liftoff_ns, row->t_ns())))});
    }
    Markup notes = element("p.note", "± is one standard deviation. Altitudes are above the pad.");
    if (const auto place = landing_place(recorded, flight)) {
        const bool down = flight.touchdown_ns.has_value();
        table.row({Markup(down ? Literal("Landing, from pad") : Literal("Last known, from pad")),
                   strong(quantity(place->distance_m(), place->distance_sigma_m(), 0, "m") + ", " +
                          bearing_text(place->bearing_deg()))});
        notes += element("p.note", fmt::format("{} at {}°, {}°, WGS 84.", down ? "Landing" : "Last known",
                                               fixed(place->latitude_deg, 5), fixed(place->longitude_deg, 5)));
    }
    return table.empty() ? Markup() : kept_chapter("Figures", table.markup() + notes);
}

Markup phases_chapter(const Recorded& recorded, const Flight& flight) {
    const ReportClock clock(recorded, flight.liftoff_ns);
    LedgerTable table({{"Phase"}, {"began", true}, {"±", true}, {"for", true}});
    for (const FlightPhase& phase : flight.phases)
        table.row({strong(capital(phase.word)), Markup::text(clock.text(phase.t_ns)),
                   Markup::text(phase.sigma_s > 0 ? significant(phase.sigma_s, 1) + "\u00a0s" : ""),
                   Markup::text(&phase == &flight.phases.back()
                                    ? ""
                                    : fixed(seconds_between(phase.t_ns, phase.until_ns), 1) + "\u00a0s")});
    return table.empty() ? Markup() : kept_chapter("Phases", table.markup());
}

} // namespace turnstone::report
