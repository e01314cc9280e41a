#include "server/report/flight/afterwards.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "server/debrief/comparison/predicted_course.hpp"
#include "server/debrief/performance/performance_record.hpp"
#include "server/report/draw/strip_chart.hpp"
#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

namespace {

using debrief::FlightPerformance;
using debrief::SmoothedSeries;

constexpr std::size_t kCoursePoints = 600;

Trace with_band(std::vector<double> t_s, const std::vector<double>& value, const std::vector<double>& sigma) {
    Trace trace{std::move(t_s), value, {}, {}};
    for (std::size_t i = 0; i < value.size(); ++i) {
        trace.low.push_back(value[i] - sigma[i]);
        trace.high.push_back(value[i] + sigma[i]);
    }
    return trace;
}

/// The recorded motion over the predicted one.
Markup predicted_course_chapter(const Recorded& recorded, const Flight& flight, debrief::OpenFlight& open) {
    const auto course = debrief::predicted_course(open);
    if (!course || course->t_s.empty()) return {};
    const Window flown{flight.liftoff_ns, flight.window.to_ns};
    StripChart chart;
    chart.to = std::max(seconds_between(flight.liftoff_ns, flight.window.to_ns), course->t_s.back());
    chart.clock = true;
    struct Shown {
        const char *column, *title;
        const std::vector<double>&value, &sigma;
    };
    const Shown shown[] = {
        {"altitude_m", "Altitude AGL", course->altitude_m, course->altitude_sigma_m},
        {"vertical_speed_mps", "Vertical speed", course->vertical_speed_mps, course->vertical_speed_sigma_mps}};
    for (const Shown& one : shown) {
        const auto place = recorded.column(recorded.table(flight.vehicle, "estimate/vertical"), one.column);
        if (!place) continue;
        Strip strip{.title = one.title, .lines = {}};
        strip.lines.push_back({recorded.trace(*place, flown, flight.liftoff_ns, kCoursePoints), "flown"});
        strip.lines.push_back({with_band(course->t_s, one.value, one.sigma), "predicted"});
        chart.strips.push_back(std::move(strip));
    }
    const Markup picture = drawn(chart);
    if (picture.empty()) return {};
    return kept_chapter(
        "Course against prediction",
        element("figure", picture + element("figcaption",
                                            "Predicted: one flight by the vehicle's and the site's files, with the air "
                                            "and the wind in use on the rail. Band: one standard deviation of thrust, "
                                            "drag, mass, lean of the rail and parachutes.")));
}

const SmoothedSeries* series_of(const std::vector<SmoothedSeries>& all, std::string_view key) {
    const auto found = std::ranges::find(all, key, &SmoothedSeries::key);
    return found == all.end() ? nullptr : &*found;
}

/// The greatest value before and after going back over the flight.
Markup smoothed_chapter(const FlightPerformance& shown, const Flight& flight) {
    LedgerTable table({{"What"}, {"Live", true}, {"From both sides", true}, {"at", true}});
    struct Greatest {
        const char *key, *title, *unit;
    };
    for (const Greatest& one : {Greatest{"altitude_m", "Maximum altitude AGL", "m"},
                                Greatest{"vertical_speed_mps", "Maximum vertical speed", "m/s"}}) {
        const SmoothedSeries* series = series_of(shown.smoothed, one.key);
        if (series == nullptr) continue;
        const auto place = [](const std::vector<double>& values) {
            return static_cast<std::size_t>(std::ranges::max_element(values) - values.begin());
        };
        const std::size_t live = place(series->filter_value), both = place(series->value);
        table.row({Markup::text(one.title),
                   Markup::text(quantity(series->filter_value[live], series->filter_sigma[live], 1, one.unit)),
                   strong(quantity(series->value[both], series->sigma[both], 1, one.unit)),
                   Markup::text(flight_clock(seconds_between(flight.liftoff_ns, series->t_ns[both])))});
    }
    for (const char* key : {"altitude_m", "vertical_speed_mps", "east_m", "north_m"}) {
        const SmoothedSeries* series = series_of(shown.smoothed, key);
        if (series == nullptr) continue;
        double live = 0, both = 0;
        for (std::size_t i = 0; i < series->value.size(); ++i) {
            live += series->filter_sigma[i] / static_cast<double>(series->value.size());
            both += series->sigma[i] / static_cast<double>(series->value.size());
        }
        table.row({Markup::text(std::string(series->title) + ", mean ±"),
                   Markup::text(significant(live, 2) + "\u00a0" + shown_unit(series->unit).symbol),
                   Markup::text(significant(both, 2) + "\u00a0" + shown_unit(series->unit).symbol),
                   {}});
    }
    if (table.empty()) return {};
    return kept_chapter("From both sides",
                        table.markup() + element("p.note", "Each moment given all measurements, those after it too: "
                                                           "Rauch-Tung-Striebel's pass back over the vertical filter "
                                                           "and over the filter of position from fixes."));
}

std::string interval_text(const analysis::Interval& interval, int decimals) {
    return from_to(interval.low, interval.high, decimals);
}

void motor_rows(const FlightPerformance& shown, LedgerTable& table) {
    const analysis::ThrustCurve& thrust = shown.found.thrust;
    if (!thrust.why.empty()) {
        table.row({Markup("Total impulse"), Markup::text("not found: " + thrust.why), {}, {}});
        return;
    }
    table.row({Markup("Total impulse"),
               strong(rounded(thrust.impulse_n_s.value, thrust.impulse_n_s.sigma, 1) + "\u00a0N\u00a0s"),
               Markup::text(interval_text(thrust.impulse_n_s.interval, 0)),
               Markup::text(fixed(shown.rocket.total_impulse_n_s(), 0) + "\u00a0N\u00a0s")});
    table.row({Markup("Burn time"),
               strong(fixed(thrust.burn_s, 2) + "\u00a0s"),
               {},
               Markup::text(fixed(shown.rocket.burn_time_s(), 2) + "\u00a0s")});
}

void drag_rows(const FlightPerformance& shown, LedgerTable& table) {
    const analysis::DragCurve& drag = shown.found.drag;
    if (!drag.why.empty()) table.row({Markup("Drag coefficient"), Markup::text("not found: " + drag.why), {}, {}});
    for (std::size_t i = 0; i < drag.mach.size(); ++i)
        table.row({Markup::text("Drag coefficient at Mach " + fixed(drag.mach[i], 2)),
                   strong(rounded(drag.cd[i], drag.sigma[i], 3)),
                   Markup::text(interval_text({drag.low[i], drag.high[i]}, 3)),
                   Markup::text(fixed(shown.rocket.drag_coefficient.at(drag.mach[i]), 3))});
}

void parachute_rows(const FlightPerformance& shown, LedgerTable& table) {
    for (std::size_t k = 0; k < shown.found.parachutes.size(); ++k) {
        const debrief::ParachuteFound& found = shown.found.parachutes[k];
        const Parachute& file = shown.rocket.parachutes[k];
        const std::string name = capital(file.name);
        if (!found.why.empty())
            table.row({Markup::text(name + ", drag area"), Markup::text("not found: " + found.why), {}, {}});
        else
            table.row({Markup::text(name + ", drag area"),
                       strong(rounded(found.area_m2.value, found.area_m2.sigma, 3) + "\u00a0m²"),
                       Markup::text(interval_text(found.area_m2.interval, 3)),
                       Markup::text(fixed(file.drag_area_m2, 3) + "\u00a0m²")});
        if (std::isfinite(found.opening_s.value))
            table.row({Markup::text(name + ", out after"),
                       strong(rounded(found.opening_s.value, found.opening_s.sigma, 2) + "\u00a0s"),
                       Markup::text(interval_text(found.opening_s.interval, 2)),
                       Markup::text(fixed(file.opens_after_s, 2) + "\u00a0s")});
    }
}

Markup thrust_picture(const FlightPerformance& shown) {
    const analysis::ThrustCurve& thrust = shown.found.thrust;
    if (!thrust.why.empty()) return {};
    StripChart chart;
    chart.from = std::min(0.0, thrust.t_s.front());
    chart.to = std::max(thrust.t_s.back(), shown.rocket.burn_time_s());
    chart.axis_unit = "s";
    Strip strip{.title = "Thrust, N", .lines = {}};
    strip.figure = rounded(*std::ranges::max_element(thrust.thrust_n), 0, 0) + "\u00a0N";
    strip.note = "greatest";
    strip.lines.push_back({with_band(thrust.t_s, thrust.thrust_n, thrust.sigma_n), "this flight"});
    strip.lines.push_back({Trace{shown.rocket.thrust_n.x, shown.rocket.thrust_n.y, {}, {}}, "vehicle file"});
    chart.strips.push_back(std::move(strip));
    chart.strip_height = 130;
    return element("figure", drawn(chart) + element("figcaption", "Seconds since liftoff. Band: one standard "
                                                                  "deviation, most of it common to the whole curve."));
}

Markup performance_chapter(const FlightPerformance& shown) {
    LedgerTable table({{"Vehicle"}, {"This flight", true}, {"95\u00a0%", true}, {"File", true}});
    motor_rows(shown, table);
    drag_rows(shown, table);
    parachute_rows(shown, table);
    const std::string mass = "With " + rounded(shown.masses.dry_kg, shown.masses.dry_sigma_kg, 3) +
                             "\u00a0kg burnt out. The debrief offers a vehicle file with these values.";
    return kept_chapter("Drag, motor and parachutes", table.markup() + thrust_picture(shown) + element("p.note", mass));
}

} // namespace

Markup afterwards_chapters(const Recorded& recorded, const Flight& flight, const std::filesystem::path& recording) {
    const auto not_gone_over = [](const std::string& why) {
        return kept_chapter("Drag, motor and parachutes", element("p.note", "Not worked out: " + why + "."));
    };
    const debrief::FlightId id{recorded.info().id, recorded.vehicle_name(flight.vehicle), flight.number};
    const auto opened = debrief::open_flight({recording.parent_path()}, to_string(id));
    if (!opened) return not_gone_over(opened.error().message);
    Markup out = predicted_course_chapter(recorded, flight, **opened);
    if (seconds_between(recorded.info().t_start_ns, flight.window.to_ns) > kGoneOverMost_s)
        return out + not_gone_over("the recording is long; the debrief does it");
    const auto shown = debrief::flight_performance(**opened, [](double) { return true; });
    if (!shown) return out + not_gone_over(shown.error().message);
    return out + smoothed_chapter(*shown, flight) + performance_chapter(*shown);
}

} // namespace turnstone::report
