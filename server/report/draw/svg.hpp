#pragma once
/// Pieces of SVG, made of numbers and escaped text.
#include <string_view>
#include <vector>

#include "server/report/page/markup.hpp"

namespace turnstone::report::svg {

/// `classes` are literals of the stylesheet.
[[nodiscard]] Markup line(Literal classes, double x1, double y1, double x2, double y2);
[[nodiscard]] Markup box(Literal classes, double x, double y, double width, double height);
[[nodiscard]] Markup text(Literal classes, double x, double y, std::string_view text);
[[nodiscard]] Markup circle(Literal classes, double x, double y, double radius);
/// Turned clockwise by `degrees` from upright.
[[nodiscard]] Markup ellipse(Literal classes, double x, double y, double across, double along, double degrees);
/// The corners of a line that may be broken: a pair that is not finite ends it.
[[nodiscard]] Markup path(Literal classes, const std::vector<double>& x, const std::vector<double>& y,
                          bool closed = false);

/// The drawing itself, as wide as its page; `about` is read out in its place.
[[nodiscard]] Markup drawing(double width, double height, std::string_view about, const Markup& content);

} // namespace turnstone::report::svg
