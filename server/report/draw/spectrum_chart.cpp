#include "server/report/draw/spectrum_chart.hpp"

#include <algorithm>
#include <cmath>

#include "server/report/draw/scale.hpp"
#include "server/report/draw/svg.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone::report {

namespace {

constexpr double kSpectrumWidth = 688;
constexpr double kSpectrumLeft = 60;
constexpr double kSpectrumRight = 540;
constexpr double kSpectrumTop = 8;
constexpr double kSpectrumFoot = 178;
constexpr double kSpectrumHeight = 206;

Markup curve_of_place(std::size_t place, const std::vector<double>& x, const std::vector<double>& y) {
    switch (place % 4) {
    case 0: return svg::path("line s1", x, y);
    case 1: return svg::path("line s2", x, y);
    case 2: return svg::path("line s3", x, y);
    default: return svg::path("line s4", x, y);
    }
}

/// Whole: a logarithmic axis ends where a value of 1, 2 or 5 stands beyond all.
Range around(const std::vector<SpectrumCurve>& curves, std::vector<double> SpectrumCurve::*values) {
    Range range{0, 0};
    for (const SpectrumCurve& curve : curves)
        for (const double value : curve.*values) {
            if (!(value > 0) || !std::isfinite(value)) continue;
            range.low = range.high > 0 ? std::min(range.low, value) : value;
            range.high = std::max(range.high, value);
        }
    return range.high > range.low ? Range{0.9 * range.low, 1.1 * range.high} : Range{0, 0};
}

} // namespace

Markup drawn_spectra(const std::vector<SpectrumCurve>& curves, const std::string& unit) {
    const Range frequencies = around(curves, &SpectrumCurve::frequency_hz);
    const Range values = around(curves, &SpectrumCurve::value);
    if (!(frequencies.low > 0) || !(values.low > 0)) return {};
    const Scale across{frequencies, kSpectrumLeft, kSpectrumRight, true};
    const Scale up{values, kSpectrumFoot, kSpectrumTop, true};
    Markup svg =
        svg::box("pane", kSpectrumLeft, kSpectrumTop, kSpectrumRight - kSpectrumLeft, kSpectrumFoot - kSpectrumTop);
    for (const double value : round_powers(values)) {
        svg += svg::line("grid", kSpectrumLeft, up.at(value), kSpectrumRight, up.at(value));
        svg += svg::text("small end", kSpectrumLeft - 5, up.at(value) + 3.5, significant(value, 1));
    }
    for (const double value : round_powers(frequencies)) {
        svg += svg::line("grid", across.at(value), kSpectrumTop, across.at(value), kSpectrumFoot);
        svg += svg::text("small middle", across.at(value), kSpectrumFoot + 14, significant(value, 1));
    }
    svg += svg::box("frame", kSpectrumLeft, kSpectrumTop, kSpectrumRight - kSpectrumLeft, kSpectrumFoot - kSpectrumTop);
    svg += svg::text("small", 0, kSpectrumTop + 9, unit);
    svg += svg::text("small end", kSpectrumRight, kSpectrumFoot + 27, "natural frequency, Hz");
    for (std::size_t i = 0; i < curves.size(); ++i) {
        std::vector<double> x;
        std::vector<double> y;
        for (std::size_t k = 0; k < curves[i].value.size(); ++k) {
            const bool drawable = curves[i].value[k] > 0;
            x.push_back(across.at(curves[i].frequency_hz[k]));
            y.push_back(drawable ? up.at(curves[i].value[k]) : std::nan(""));
        }
        svg += curve_of_place(i, x, y);
        const double key = kSpectrumTop + 12 + 16 * static_cast<double>(i);
        svg += curve_of_place(i, {kSpectrumRight + 10, kSpectrumRight + 32}, {key - 4, key - 4});
        svg += svg::text("small", kSpectrumRight + 37, key, curves[i].name);
    }
    return svg::drawing(kSpectrumWidth, kSpectrumHeight, "Shock response spectrum", svg);
}

} // namespace turnstone::report
