#include "server/estimate/inputs.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <utility>

namespace turnstone::estimate {

namespace {

/// Fewer samples a second than these, and an estimate is not to be had; with fewer than `good` it is late or coarse.
struct RateNeeded {
    double least_hz, good_hz;
};
constexpr RateNeeded kInertial{5, 50};
constexpr RateNeeded kPressure{1, 5};
constexpr RateNeeded kFixPosition{0.01, 1};
constexpr RateNeeded kFixFlight{0.5, 5};

std::string hertz(double rate_hz) {
    std::array<char, 32> text{};
    std::snprintf(text.data(), text.size(), "%.3g Hz", rate_hz);
    return text.data();
}

struct Input {
    const char* name;
    bool present;
    double rate_hz;
    RateNeeded rate;
    [[nodiscard]] bool known() const { return rate_hz > 0; }
    [[nodiscard]] bool enough() const { return present && (!known() || rate_hz >= rate.least_hz); }
    [[nodiscard]] bool good() const { return present && (!known() || rate_hz >= rate.good_hz); }
    [[nodiscard]] std::string too_few() const {
        return std::string(name) + " at " + hertz(rate_hz) + "; at least " + hertz(rate.least_hz) + " is needed";
    }
    [[nodiscard]] std::string few() const {
        return std::string(name) + " at " + hertz(rate_hz) + ": late and coarse; " + hertz(rate.good_hz) +
               " or more is better";
    }
};

/// From the best of several inputs, any of which will do.
EstimateOutlook from_any(std::string_view title, std::string_view needs, const std::vector<Input>& inputs) {
    const Input* usable = nullptr;
    std::string too_few;
    for (const Input& input : inputs) {
        if (input.good()) return {title, true, ""};
        if (input.enough() && usable == nullptr) usable = &input;
        if (input.present && !input.enough()) too_few += (too_few.empty() ? "" : "; ") + input.too_few();
    }
    if (usable != nullptr) return {title, true, usable->few()};
    return {title, false, too_few.empty() ? "needs " + std::string(needs) : too_few};
}

} // namespace

const std::vector<EstimateNeed>& estimate_needs() {
    static const std::vector<EstimateNeed> needs = {
        {"Position, track, look angles", "GNSS fix", "any; 1 Hz or more is better"},
        {"Air data", "static pressure", "1 Hz; 5 Hz is better"},
        {"Vertical motion: altitude AGL, vertical speed",
         "static pressure, GNSS fix or, of a rocket, axial acceleration", "1 Hz, 0.5 Hz, 5 Hz; 5, 5, 50 Hz is better"},
        {"Phases and flight events", "a rocket; static pressure, GNSS fix or axial acceleration",
         "1 Hz, 0.5 Hz, 5 Hz; 5, 5, 50 Hz is better"},
        {"Apogee prediction", "as phases", "as phases"},
        {"Landing area", "a rocket; GNSS fix", "0.5 Hz; 5 Hz is better"},
        {"Attitude", "a rocket; acceleration and turn rate on three axes each, GNSS fix or static pressure",
         "5 Hz; 50 Hz is better"},
        {"Ground − on board", "one of the on-board estimates", "any"},
        {"Engine hours", "engine speed", "any"},
        {"Mean wind and gusts", "wind speed", "any; 1 Hz or more is better"},
    };
    return needs;
}

std::string estimate_needs_markdown() {
    std::string out = "| estimate | needs | samples a second |\n| --- | --- | --- |\n";
    for (const EstimateNeed& need : estimate_needs())
        out += "| " + std::string(need.title) + " | " + std::string(need.inputs) + " | " + std::string(need.rates) +
               " |\n";
    return out;
}

std::vector<EstimateOutlook> estimate_outlook(const ChainInputs& in, bool is_rocket) {
    const Input pressure{"static pressure", in.pressure, in.pressure_hz, kPressure};
    const Input position{"GNSS fixes", in.fix, in.fix_hz, kFixPosition};
    const Input fix{"GNSS fixes", in.fix, in.fix_hz, kFixFlight};
    const Input axial{"axial acceleration", in.accel_axial && is_rocket, in.imu_hz, kInertial};
    const double triads_hz = in.rates_hz > 0 && in.imu_hz > 0 ? std::min(in.rates_hz, in.imu_hz) : in.imu_hz;
    const Input triads{"inertial samples", in.triads(), triads_hz, kInertial};
    const auto& needs = estimate_needs();
    std::vector<EstimateOutlook> out;
    const auto add = [&](EstimateOutlook outlook, bool of_rockets = false) {
        if (of_rockets && !is_rocket) outlook = {outlook.title, false, "vehicle.json has no \"rocket\""};
        outlook.title = needs[out.size()].title;
        out.push_back(std::move(outlook));
    };
    add(from_any("", "a GNSS fix: latitude, longitude and height", {position}));
    add(from_any("", "static_pressure", {pressure}));
    const std::vector<Input> vertical = {pressure, axial, fix};
    const char* const vertical_needs =
        is_rocket ? "static_pressure, a GNSS fix or accel_body_x" : "static_pressure or a GNSS fix";
    EstimateOutlook motion = from_any("", vertical_needs, vertical);
    if (motion.given && motion.why.empty() && !in.pressure && !in.fix)
        motion.why = "by acceleration alone: its error grows all the flight, to hundreds of metres at its end";
    add(std::move(motion));
    add(from_any("", vertical_needs, vertical), true);
    add(from_any("", vertical_needs, vertical), true);
    add(from_any("", "a GNSS fix: latitude, longitude and height", {fix}), true);
    add(from_any("", "accel_body_x, y, z and rate_body_x, y, z", {triads}), true);
    add({"", in.onboard, in.onboard ? "" : "needs one of the onboard_ roles"});
    add({"", in.engine, in.engine ? "" : "needs engine_speed"});
    add({"", in.wind, in.wind ? "" : "needs wind_speed"});
    return out;
}

std::vector<MissingInput> missing_inputs(const ChainInputs& in) {
    std::vector<MissingInput> out;
    if (!in.pressure) out.push_back({"air", {"static_pressure"}});
    if (!in.accel_axial && !in.pressure && !in.fix)
        for (const char* estimator : {"vertical", "phase", "ascent", "landing"})
            out.push_back({estimator, {"accel_body_x", "static_pressure", "latitude"}, true});
    if (!in.triads())
        out.push_back({"attitude", in.rates ? std::vector<std::string>{"accel_body_x", "accel_body_y", "accel_body_z"}
                                            : std::vector<std::string>{"rate_body_x", "rate_body_y", "rate_body_z"}});
    if (!in.triads() && !in.fix)
        for (const char* estimator : {"navigation", "look_angles"})
            out.push_back({estimator, {"latitude", "longitude", "height_ellipsoid"}});
    return out;
}

} // namespace turnstone::estimate
