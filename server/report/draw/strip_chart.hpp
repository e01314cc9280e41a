#pragma once
/// Strips above each other on one time axis, as the dashboard draws them: at the left what each shows with its figure,
/// at the right its lines, limits, the edges found and the time without data.
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "server/record/by_name/trace.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

struct StripLimit {
    double value;
    std::string label;
};

struct StripLine {
    Trace trace;
    std::string name = {}; ///< when a strip has several
};

struct Strip {
    std::string title;
    std::string figure = {}; ///< the one that matters: "133 m/s²"
    std::string note = {};   ///< below it: "at 19.5 ms, ± 2"
    std::vector<StripLine> lines;
    std::vector<StripLimit> limits = {};
    std::optional<double> scaled_to = {}; ///< what comes later is drawn at the strip's edge where it is beyond
};

/// A moment, with its number above the strips.
struct EdgeMark {
    double t;
    std::string label;
};

enum class Ground : std::uint8_t { plain, under_thrust, coasting, falling, under_drogue, under_main, down };

struct GroundTint {
    double from;
    double to;
    Ground ground;
    std::string label;
};

struct Gap {
    double from;
    double to;
};

struct StripChart {
    double from = 0;
    double to = 1;
    std::string axis_unit = {}; ///< behind each number of the axis: "ms"
    bool clock = false;         ///< the axis says T+1:30 instead of numbers
    std::vector<Strip> strips = {};
    std::vector<EdgeMark> marks = {};
    std::vector<GroundTint> tints = {};
    std::vector<Gap> gaps = {};
    double strip_height = 92;
};

/// Empty without strips or with an empty axis.
[[nodiscard]] Markup drawn(const StripChart& chart);

} // namespace turnstone::report
