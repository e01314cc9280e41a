#include "server/report/ground/charge.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "server/analysis/shock/shock_spectrum.hpp"
#include "server/analysis/statistics/summary.hpp"
#include "server/report/ground/charge_picture.hpp"
#include "server/report/ground/charge_tables.hpp"
#include "server/report/page/page.hpp"
#include "server/report/text/figure.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

namespace {

constexpr std::string_view kFolder = "/charge/";
/// Of the record that the spectrum is about.
constexpr std::int64_t kShockBeforeNs = 10 * kNsPerMs;
constexpr std::int64_t kShockAfterNs = 240 * kNsPerMs;
constexpr std::size_t kShockReadingsLeast = 50;

} // namespace

std::vector<Firing> firings_in(const Recorded& recorded, std::size_t vehicle, Window window) {
    constexpr std::size_t kMost = 50;
    std::vector<Firing> firings;
    const std::string folder = recorded.vehicle_name(vehicle) + std::string(kFolder);
    for (const Table& table : recorded.tables()) {
        if (!table.name.starts_with(folder)) continue;
        for (RowValues& row : recorded.rows_of(&table, window, kMost))
            firings.push_back({vehicle, table.name.substr(folder.size()), std::move(row)});
    }
    std::ranges::stable_sort(firings, {}, [](const Firing& firing) { return firing.row.t_ns(); });
    return firings;
}

std::optional<SpectrumCurve> shock_of(const Recorded& recorded, const Firing& firing) {
    const std::int64_t t_ns = firing.row.t_ns();
    const auto place = recorded.with_rows(firing.vehicle, {"charge_accel_x", "accel_body_x"},
                                          {t_ns - kShockBeforeNs, t_ns + kShockAfterNs}, kShockReadingsLeast);
    if (!place) return std::nullopt;
    const SeriesBlock block =
        recorded.rows(*place->table, {place->column}, {t_ns - kShockBeforeNs, t_ns + kShockAfterNs});
    std::vector<double> steps_s;
    for (std::size_t i = 1; i < block.rows; ++i) steps_s.push_back(seconds_between(block.t_ns[i - 1], block.t_ns[i]));
    std::ranges::nth_element(steps_s, steps_s.begin() + static_cast<std::ptrdiff_t>(steps_s.size() / 2));
    const double step_s = steps_s[steps_s.size() / 2];
    // A hole hides a peak, and the filter takes readings for evenly spaced.
    if (!(step_s > 0) || *std::ranges::max_element(steps_s) > 1.5 * step_s) return std::nullopt;
    std::vector<double> accel;
    std::vector<double> before;
    for (std::size_t i = 0; i < block.rows; ++i) {
        if (!std::isfinite(block.mean[i])) return std::nullopt;
        accel.push_back(block.mean[i]);
        if (block.t_ns[i] < t_ns) before.push_back(block.mean[i]);
    }
    const double rest = analysis::summarise(before.empty() ? accel : before).mean;
    for (double& value : accel) value -= rest;
    const double duration_s = step_s * static_cast<double>(accel.size());
    SpectrumCurve curve;
    curve.frequency_hz = analysis::shock_frequencies(1 / step_s, duration_s);
    for (const auto& response : analysis::shock_spectrum(accel, 1 / step_s, curve.frequency_hz))
        curve.value.push_back(response.maximax());
    return curve.value.size() < 2 ? std::nullopt : std::optional(std::move(curve));
}

Markup charge_chapter(const Recorded& recorded, const Firing& firing, const std::vector<EarlierFiring>& earlier,
                      const Procedure* procedure) {
    Markup content;
    if (const Markup picture = charge_picture(recorded, firing, procedure); !picture.empty())
        content += element("figure",
                           picture + element("figcaption", "Milliseconds after the firing. Dashed upright: the edges "
                                                           "found, by number; across: what the checks allow."));
    content += findings_tables(firing);
    std::vector<SpectrumCurve> curves;
    if (auto shock = shock_of(recorded, firing)) {
        shock->name = "This test";
        curves.push_back(std::move(*shock));
        for (const EarlierFiring& test : earlier)
            if (test.shock && curves.size() < 4) {
                curves.push_back(*test.shock);
                curves.back().name = test.label;
            }
    }
    if (const Markup spectra = drawn_spectra(curves, "m/s²"); !spectra.empty())
        content +=
            element("div.keep",
                    element("h3", "Shock response spectrum") +
                        element("figure", spectra + element("figcaption", "Greatest absolute acceleration of a mass "
                                                                          "on a spring, Q = 10, ISO 18431-4.")));
    else
        content +=
            element("p.note", "No shock spectrum: the acceleration is too coarse around the firing, or has a hole.");
    if (const Markup side_by_side = earlier_table(firing, earlier); !side_by_side.empty()) content += side_by_side;
    return chapter(capital(firing.charge) + " charge, " + utc_time(recorded.utc_ns(firing.row.t_ns())) + " UTC",
                   content);
}

} // namespace turnstone::report
