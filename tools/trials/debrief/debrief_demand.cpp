#include "tools/trials/debrief/debrief_demand.hpp"

#include <algorithm>
#include <cstdio>
#include <limits>

namespace turnstone::trials {

namespace {

constexpr double kAny = std::numeric_limits<double>::infinity();

/// 98 % is demanded of all; drag, impulse and drag areas have one in a hundred more, which 200 flights leave open. The
/// delays have no upper limit: their sigmas are those of events, which are wide. A boost of two seconds, of which the
/// radio loses more than 0.3, is refused: one in seven. Widths: twice what eight flights had.
constexpr std::array<IntervalDemand, kDebriefFigures> kDemands{{
    {"roll damping Lp", "%", 1, 90, 98, 4, 8},
    {"fins' effect in roll Ld", "%", 1, 90, 98, 4, 7},
    {"natural frequency", "%", 2, 90, 98, 2.5, 5},
    {"damping", "%", 2, 90, 98, 22, 40},
    {"fins' effect in pitch and yaw", "%", 2, 90, 98, 8, 12},
    {"static margin", "%", 2, 90, 98, 5, 9},
    {"drag coefficient at Mach 0.2", "%", 1, 80, 99, kAny, 18},
    {"drag coefficient at Mach 0.4", "%", 1, 80, 99, kAny, 8},
    {"total impulse", "%", 1, 70, 99, kAny, 5.2},
    {"drogue's drag area", "%", 1, 80, 99, kAny, 10},
    {"main's drag area", "%", 1, 80, 99, kAny, 52},
    {"drogue's delay", "s", 1, 80, 100, kAny, 0.22},
    {"main's delay", "s", 1, 80, 100, kAny, 0.32},
}};

/// How many of a hundred steps may be stated worse than the filter's. Two headings that came to agree widen what is
/// known of the attitude before, too; and a tilt is one of three components, of which each is kept where it was better.
double worse_most_percent(std::string_view key) {
    if (key.starts_with("tilt")) return 2;
    return key.starts_with("attitude") ? 1 : 0;
}

} // namespace

const IntervalDemand& demand_of(DebriefFigure figure) {
    return kDemands.at(static_cast<std::size_t>(figure));
}

bool is_of_logging_flights(DebriefFigure figure) {
    return figure <= DebriefFigure::static_margin;
}

std::string Bounded::text(const char* format) const {
    std::array<char, 40> out{};
    std::snprintf(out.data(), out.size(), format, value);
    return met() ? out.data() : "**" + std::string(out.data()) + "**";
}

Coverage coverage_of(DebriefFigure figure, const std::vector<Judged>& answers) {
    const IntervalDemand& demand = demand_of(figure);
    const bool is_relative = demand.unit == std::string_view("%");
    Coverage out;
    double error_square = 0, width = 0;
    for (const Judged& one : answers) {
        ++out.asked;
        if (!std::isfinite(one.value) || !std::isfinite(one.truth)) continue;
        ++out.said;
        out.held += one.low <= one.truth && one.truth <= one.high;
        const double unit = is_relative ? std::abs(one.truth) / 100 : 1;
        error_square += std::pow((one.value - one.truth) / unit, 2);
        width += 0.5 * (one.high - one.low) / unit;
    }
    out.said_percent = {100.0 * out.said / std::max(1, out.asked), demand.said_least, 100};
    out.held_percent = {100.0 * out.held / out.said, kHeldLeast, demand.held_most};
    out.error = {std::sqrt(error_square / out.said), 0, demand.error_most};
    out.width = {width / out.said, 0, demand.width_most};
    return out;
}

void SmoothedErrors::add(const SmoothedErrors& other) {
    filter.add(other.filter);
    both.add(other.both);
    worse += other.worse;
}

SmoothedFigures smoothed_figures(std::string_view key, const SmoothedErrors& errors, int flights) {
    // Errors of one flight are alike: the mean of a few flights wanders far from 1, that of many less. An
    // acceleration's error is a bias that falls short of what is stated for it: half of it, over eight flights.
    const double root = std::sqrt(flights), least = key == "acceleration_mps2" ? 0.2 : 0.35;
    // Turns about the vertical are hardly felt: of one flight their error is one number.
    const double rms_most = key.starts_with("attitude") ? 1 + 1 / root : 1;
    return {.worse = {static_cast<double>(errors.worse), 0, 0.01 * worse_most_percent(key) * errors.both.count},
            .rms = {errors.both.rms() / errors.filter.rms(), 0, rms_most},
            .square = {errors.both.normalised_square(), least - 0.37 / root, 1.5 + 2.5 / root}};
}

} // namespace turnstone::trials
