#include "server/report/draw/strip_chart.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "server/report/draw/scale.hpp"
#include "server/report/draw/svg.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone::report {

namespace {

// In units of the drawing, of which the page is 688 wide: about one for each pixel of a screen.
constexpr double kWidth = 688;
constexpr double kPaneLeft = 156;
constexpr double kPaneRight = 684;
constexpr double kHead = 16; ///< above the strips, for numbers and phases
constexpr double kAxis = 20; ///< below them
constexpr double kNumberRoom = 5;
constexpr double kRoom = 6;     ///< within a strip above and below its lines
constexpr double kLetter = 6.2; ///< the mean width of a letter
constexpr double kLine = 13;    ///< from one line of small text to the next

const char* const kNothing = "no data";

std::vector<double> mapped(const std::vector<double>& values, const Scale& scale, double slack = 0) {
    std::vector<double> out;
    out.reserve(values.size());
    // What is far outside of the drawing stays near it, whatever its size.
    const double least = std::min(scale.from, scale.to) - slack;
    const double most = std::max(scale.from, scale.to) + slack;
    for (const double value : values) {
        const double place = scale.at(value);
        out.push_back(std::isfinite(place) ? std::clamp(place, least, most) : place);
    }
    return out;
}

Markup line_of_place(std::size_t place, const std::vector<double>& x, const std::vector<double>& y) {
    switch (place % 4) {
    case 0: return svg::path("line s1", x, y);
    case 1: return svg::path("line s2", x, y);
    case 2: return svg::path("line s3", x, y);
    default: return svg::path("line s4", x, y);
    }
}

/// The area between two lines, one piece for each stretch without a break.
Markup band_of(const Trace& trace, const Scale& across, const Scale& up) {
    const auto x = mapped(trace.t, across);
    const auto low = mapped(trace.low, up);
    const auto high = mapped(trace.high, up);
    Markup bands;
    std::size_t begin = 0;
    for (std::size_t i = 0; i <= x.size(); ++i) {
        if (i < x.size() && std::isfinite(low[i]) && std::isfinite(high[i])) continue;
        std::vector<double> around_x(x.begin() + static_cast<std::ptrdiff_t>(begin),
                                     x.begin() + static_cast<std::ptrdiff_t>(i));
        std::vector<double> around_y(high.begin() + static_cast<std::ptrdiff_t>(begin),
                                     high.begin() + static_cast<std::ptrdiff_t>(i));
        for (std::size_t back = i; back > begin; --back) {
            around_x.push_back(x[back - 1]);
            around_y.push_back(low[back - 1]);
        }
        if (i > begin + 1) bands += svg::path("b1", around_x, around_y, true);
        begin = i + 1;
    }
    return bands;
}

Markup tint_box(Ground ground, double x, double y, double width, double height) {
    switch (ground) {
    case Ground::under_thrust: return svg::box("t-under-thrust", x, y, width, height);
    case Ground::coasting: return svg::box("t-coasting", x, y, width, height);
    case Ground::falling: return svg::box("t-falling", x, y, width, height);
    case Ground::under_drogue: return svg::box("t-under-drogue", x, y, width, height);
    case Ground::under_main: return svg::box("t-under-main", x, y, width, height);
    case Ground::down: return svg::box("t-down", x, y, width, height);
    case Ground::plain: break;
    }
    return {};
}

/// Text that is cut where it would leave its place.
std::string fitted(const std::string& text, double width) {
    const auto most = static_cast<std::size_t>(width / kLetter);
    std::size_t letters = 0;
    for (std::size_t i = 0; i < text.size(); ++i) {
        if ((static_cast<unsigned char>(text[i]) & 0xc0) == 0x80) continue;
        if (++letters > most && most > 1) return text.substr(0, i) + "…";
    }
    return text;
}

/// Text on two lines where one is too short for it, the second cut where it would leave its place.
std::pair<std::string, std::string> in_two_lines(const std::string& text, double width) {
    const std::string first = fitted(text, width);
    if (first == text) return {text, ""};
    const std::size_t space = text.rfind(' ', first.size() - std::string("…").size());
    if (space == std::string::npos || space == 0) return {first, ""};
    return {text.substr(0, space), fitted(text.substr(space + 1), width)};
}

class ChartDrawing {
  public:
    explicit ChartDrawing(const StripChart& chart)
        : chart_(chart), across_{{chart.from, chart.to}, kPaneLeft, kPaneRight},
          bottom_(kHead + static_cast<double>(chart.strips.size()) * chart.strip_height) {}

    Markup drawn() {
        svg_ += svg::box("pane", kPaneLeft, kHead, kPaneRight - kPaneLeft, bottom_ - kHead);
        tints();
        for (std::size_t i = 0; i < chart_.strips.size(); ++i)
            strip(chart_.strips[i], kHead + static_cast<double>(i) * chart_.strip_height);
        gaps();
        marks();
        axis();
        std::string about;
        for (const Strip& each : chart_.strips) about += (about.empty() ? "" : "; ") + each.title + " " + each.figure;
        return svg::drawing(kWidth, bottom_ + kAxis, about, hatch() + svg_);
    }

  private:
    static Markup hatch() {
        return Markup(
            "<defs><pattern id=\"hatch\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" "
            "patternTransform=\"rotate(45)\"><path d=\"M0 0V6\" stroke=\"var(--hatch)\" stroke-width=\"1.4\"/>"
            "</pattern></defs>");
    }

    [[nodiscard]] double x(double t) const { return std::clamp(across_.at(t), kPaneLeft, kPaneRight); }

    void tints() {
        double free_from = kPaneLeft;
        for (const GroundTint& tint : chart_.tints) {
            const double from = x(tint.from);
            const double to = x(tint.to);
            svg_ += tint_box(tint.ground, from, kHead, to - from, bottom_ - kHead);
            const double width = kLetter * static_cast<double>(tint.label.size());
            if (from < free_from || to - from < std::min(width, 40.0) || from + width > kPaneRight) continue;
            svg_ += svg::text("small", from + 2, kHead - 4, tint.label);
            free_from = from + width + 4;
        }
    }

    void strip(const Strip& strip, double top) {
        const double foot = top + chart_.strip_height;
        const auto [title, more] = in_two_lines(strip.title, kPaneLeft - 6);
        const double lower = more.empty() ? top : top + kLine;
        svg_ += svg::text("title", 0, top + 14, title);
        if (!more.empty()) svg_ += svg::text("title", 0, lower + 14, more);
        svg_ += svg::text("big", 0, lower + 33, fitted(strip.figure, 0.66 * kPaneLeft));
        svg_ += svg::text("small", 0, lower + 48, fitted(strip.note, kPaneLeft - 2));
        RangeOf all;
        for (const StripLine& line : strip.lines) {
            for (const auto* values : {&line.trace.y, &line.trace.low, &line.trace.high})
                for (std::size_t i = 0; i < values->size(); ++i)
                    if (!(strip.scaled_to && line.trace.t[i] > *strip.scaled_to)) all.add((*values)[i]);
        }
        for (const StripLimit& limit : strip.limits) all.add(limit.value);
        const Scale up{all.range(), foot - kRoom, top + kRoom};
        grid(up, top, foot);
        for (std::size_t i = 0; i < strip.lines.size(); ++i) {
            const Trace& trace = strip.lines[i].trace;
            if (!trace.low.empty()) svg_ += band_of(trace, across_, up);
            svg_ += line_of_place(i, mapped(trace.t, across_), mapped(trace.y, up, kRoom));
            if (!strip.lines[i].name.empty()) key(i, strip.lines[i].name, lower + 62 + kLine * static_cast<double>(i));
        }
        limits(strip, up, top);
        if (strip.lines.empty() ||
            std::ranges::all_of(strip.lines, [](const StripLine& line) { return line.trace.t.empty(); }))
            svg_ += svg::text("small", kPaneLeft + 8, top + 0.5 * chart_.strip_height, kNothing);
        svg_ += svg::line("frame", 0, foot, kPaneRight, foot);
    }

    /// Each label above its line, or below where that is outside or taken; where both are, it is left out.
    void limits(const Strip& strip, const Scale& up, double top) {
        std::vector<double> taken;
        for (const StripLimit& limit : strip.limits) {
            const double y = up.at(limit.value);
            if (!std::isfinite(y)) continue;
            svg_ += svg::line("limit", kPaneLeft, y, kPaneRight, y);
            for (const double at : {y > top + 20 ? y - 3 : y + 11, y + 11}) {
                const bool is_taken =
                    std::ranges::any_of(taken, [&](double other) { return std::abs(other - at) < kLine; });
                if (is_taken || at > top + chart_.strip_height - 2) continue;
                svg_ += svg::text("small over end", kPaneRight - 4, at, limit.label);
                taken.push_back(at);
                break;
            }
        }
    }

    void grid(const Scale& up, double top, double foot) {
        const auto values = round_values(up.range, 3);
        const int decimals = decimals_of(values);
        for (const double value : values) {
            const double y = up.at(value);
            svg_ += svg::line("grid", kPaneLeft, y, kPaneRight, y);
            if (y < top + kNumberRoom || y > foot - kNumberRoom) continue; // it would lie on its neighbour's
            numbers_.push_back(svg::text("small over", kPaneLeft + 3, y + 3.5, fixed(value, decimals)));
        }
    }

    void key(std::size_t place, const std::string& name, double y) {
        svg_ += line_of_place(place, {0, 18}, {y - 3.5, y - 3.5});
        svg_ += svg::text("small", 22, y, fitted(name, kPaneLeft - 28));
    }

    void gaps() {
        for (const Gap& gap : chart_.gaps)
            if (gap.to > chart_.from && gap.from < chart_.to)
                svg_ +=
                    svg::box("hatched", x(gap.from), kHead, std::max(1.5, x(gap.to) - x(gap.from)), bottom_ - kHead);
    }

    void marks() {
        double free_from = 0;
        for (const EdgeMark& mark : chart_.marks) {
            if (!(mark.t >= chart_.from && mark.t <= chart_.to)) continue;
            const double at = x(mark.t);
            svg_ += svg::line("edge", at, kHead, at, bottom_);
            // Beside its line, or left of it where the one before takes the place.
            const double width = kLetter * static_cast<double>(mark.label.size()) + 3;
            if (at >= free_from && at + 0.5 * width > kWidth)
                svg_ += svg::text("bold end", kWidth, kHead - 4, mark.label);
            else if (at >= free_from)
                svg_ += svg::text("bold middle", at, kHead - 4, mark.label);
            else
                svg_ += svg::text("bold", free_from - 0.5 * width + 2, kHead - 4, mark.label);
            free_from = std::max(at + width, free_from + width);
        }
    }

    void axis() {
        for (const Markup& number : numbers_) svg_ += number;
        svg_ += svg::line("frame", kPaneLeft, kHead, kPaneLeft, bottom_);
        const auto values = round_values({chart_.from, chart_.to}, 6);
        const int decimals = decimals_of(values);
        for (const double value : values) {
            const double at = x(value);
            svg_ += svg::line("frame", at, bottom_, at, bottom_ + 3);
            const std::string label =
                chart_.clock ? flight_clock(value, 0) : fixed(value, decimals) + "\u00a0" + chart_.axis_unit;
            if (at > kPaneRight - 18)
                svg_ += svg::text("small end", kPaneRight, bottom_ + 14, label);
            else
                svg_ += svg::text("small middle", at, bottom_ + 14, label);
        }
    }

    const StripChart& chart_;
    const Scale across_;
    const double bottom_;
    Markup svg_;
    std::vector<Markup> numbers_; ///< of the strips' axes, written over everything
};

} // namespace

Markup drawn(const StripChart& chart) {
    if (chart.strips.empty() || !(chart.to > chart.from)) return {};
    return ChartDrawing(chart).drawn();
}

} // namespace turnstone::report
