#include "server/report/draw/svg.hpp"

#include <cmath>
#include <iterator>

#include <fmt/format.h>

namespace turnstone::report::svg {

namespace {

Markup made(std::string html) {
    return Markup::of_numbers(std::move(html));
}

} // namespace

Markup line(Literal classes, double x1, double y1, double x2, double y2) {
    return made(fmt::format("<path class=\"{}\" d=\"M{:.1f} {:.1f}L{:.1f} {:.1f}\"/>", classes.view(), x1, y1, x2, y2));
}

Markup box(Literal classes, double x, double y, double width, double height) {
    return made(fmt::format("<rect class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\"/>",
                            classes.view(), x, y, std::fmax(0, width), std::fmax(0, height)));
}

Markup text(Literal classes, double x, double y, std::string_view text) {
    return made(fmt::format("<text class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\">{}</text>", classes.view(), x, y,
                            Markup::text(text).html()));
}

Markup circle(Literal classes, double x, double y, double radius) {
    return made(
        fmt::format("<circle class=\"{}\" cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"{:.1f}\"/>", classes.view(), x, y, radius));
}

Markup ellipse(Literal classes, double x, double y, double across, double along, double degrees) {
    return made(fmt::format("<ellipse class=\"{}\" rx=\"{:.1f}\" ry=\"{:.1f}\" transform=\"translate({:.1f} {:.1f}) "
                            "rotate({:.1f})\"/>",
                            classes.view(), across, along, x, y, degrees));
}

Markup path(Literal classes, const std::vector<double>& x, const std::vector<double>& y, bool closed) {
    std::string corners;
    bool pen_down = false;
    for (std::size_t i = 0; i < x.size() && i < y.size(); ++i) {
        const bool here = std::isfinite(x[i]) && std::isfinite(y[i]);
        if (here) fmt::format_to(std::back_inserter(corners), "{}{:.1f} {:.1f}", pen_down ? "L" : "M", x[i], y[i]);
        pen_down = here;
    }
    if (corners.empty()) return {};
    return made(fmt::format("<path class=\"{}\" d=\"{}{}\"/>", classes.view(), corners, closed ? "Z" : ""));
}

Markup drawing(double width, double height, std::string_view about, const Markup& content) {
    return made(fmt::format("<svg viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\" aria-label=\"{}\">{}</svg>", width, height,
                            Markup::text(about).html(), content.html()));
}

} // namespace turnstone::report::svg
