#include "tools/trials/acceptance.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "server/pipeline/events.hpp"

namespace turnstone::trials {

namespace {

constexpr double kInfinite = std::numeric_limits<double>::infinity();
constexpr double kRoughMissed = 0.002;
constexpr double kPeriods = 1.5;
constexpr double kOldest_s = 0.5;

/// A sum over flights of a numerator and a denominator each.
struct Ratio {
    std::vector<std::pair<double, double>> flights;
    void add(double numerator, double denominator) { flights.emplace_back(numerator, denominator); }
    [[nodiscard]] double value() const {
        double above = 0, below = 0;
        for (const auto& [a, b] : flights) above += a, below += b;
        return below > 0 ? above / below : NAN;
    }
    /// 1-sigma, flights independent of each other (W. G. Cochran, Sampling Techniques, 3rd ed., 1977, section 2.11;
    /// from memory).
    [[nodiscard]] double chance() const {
        const double mean = value(), count = static_cast<double>(flights.size());
        double below = 0, square = 0;
        for (const auto& [a, b] : flights) {
            below += b;
            square += std::pow(a - mean * b, 2);
        }
        return count > 1 ? std::sqrt(square * count / (count - 1)) / below : NAN;
    }
    /// Per cent of the flights.
    [[nodiscard]] double chance_percent() const {
        const double part = value();
        return 100 * std::sqrt(part * (1 - part) / static_cast<double>(flights.size()));
    }
};

bool is_factor(Demand demand) {
    switch (demand) {
    case Demand::sigmas:
    case Demand::moment_sigmas:
    case Demand::moment_times:
    case Demand::age: return true;
    case Demand::moments:
    case Demand::apogees:
    case Demand::landings:
    case Demand::position:
    case Demand::consistent:
    case Demand::warned: break;
    }
    return false;
}

/// Where a vehicle stands its speed is zero and, on the rail, its place the pad's by definition: an estimate has no
/// error there, and no sigma can be small enough.
bool at_rest(sim::TruePhase phase) {
    return phase == sim::TruePhase::on_the_rail || phase == sim::TruePhase::on_the_stand ||
           phase == sim::TruePhase::down;
}

void mark_sigmas(const Scores& scores, std::vector<Mark>& out) {
    for (std::size_t q = 0; q < kQuantities; ++q) {
        for (const sim::TruePhase phase : phases_of({scores})) {
            Ratio square;
            for (const TrialScore& score : scores) {
                const Errors& errors = score.tallies[q][static_cast<std::size_t>(phase)].errors;
                if (errors.normalised_count > 0) square.add(errors.normalised_square_sum, errors.normalised_count);
            }
            if (square.flights.empty()) continue;
            out.push_back(
                {Demand::sigmas,
                 std::string(text_of(static_cast<Quantity>(q)).name) + ", " + std::string(sim::to_string(phase)),
                 square.value(), at_rest(phase) ? 0 : kSquareLeast, kSquareMost, square.chance()});
        }
    }
}

double fastest_hz(const sim::Telemetry& telemetry) {
    const double sensors_hz = std::max(telemetry.imu_hz, telemetry.pressure_hz);
    return sensors_hz > 0 ? sensors_hz : telemetry.fix_hz;
}

void mark_moments(const ListedCase& listed, const sim::Telemetry& telemetry, const Scores& scores,
                  std::vector<Mark>& out) {
    const double allowed = listed.trial_case.radio == "clean" ? 0 : kRoughMissed * static_cast<double>(scores.size());
    for (std::size_t m = 0; m < kFlightEvents.size(); ++m) {
        const std::string name = make_event({.id = kFlightEvents[m], .t_ns = 0}, 0).text;
        int missed_all = 0, wrong_all = 0;
        Ratio square;
        std::vector<double> errors_s;
        for (const TrialScore& score : scores) {
            // An impact that ends telemetry is presumed from the silence.
            const bool presumed =
                kFlightEvents[m] == EventId::touchdown && std::isfinite(score.presumed_impact_error_s);
            if (!presumed) missed_all += missed(score, m);
            wrong_all += wrong(score, m);
            const FlightEventScore& event = score.flight_events[m];
            if (!event.happened || event.found == 0) continue;
            errors_s.push_back(std::abs(event.error_s));
            if (event.sigma_s > 0) square.add(std::pow(event.error_s / event.sigma_s, 2), 1);
        }
        const bool happened = std::ranges::any_of(scores, [m](const auto& s) { return s.flight_events[m].happened; });
        if (happened) out.push_back({Demand::moments, name + " missed", static_cast<double>(missed_all), 0, allowed});
        out.push_back({Demand::moments, name + " false", static_cast<double>(wrong_all), 0, allowed});
        if (!square.flights.empty())
            out.push_back({Demand::moment_sigmas, name, square.value(), kSquareLeast, kSquareMost, square.chance()});
        if (errors_s.empty()) continue;
        const auto middle = errors_s.begin() + static_cast<std::ptrdiff_t>(errors_s.size() / 2);
        std::nth_element(errors_s.begin(), middle, errors_s.end());
        out.push_back({Demand::moment_times, name, *middle * fastest_hz(telemetry), 0, kPeriods});
    }
}

void mark_predictions(const sim::Telemetry& telemetry, const Scores& scores, std::vector<Mark>& out) {
    const auto mark = [&](Demand demand, std::size_t k, bool PredictionScore::*inside, double low, double high) {
        Ratio hits;
        for (const TrialScore& score : scores)
            if (score.predictions[k].asked) hits.add(score.predictions[k].*inside, 1);
        if (hits.flights.empty()) return;
        out.push_back(
            {demand, to_string(static_cast<Checkpoint>(k)), 100 * hits.value(), low, high, hits.chance_percent()});
    };
    // Without fixes and without turn rates nothing says where it is.
    const bool placed = telemetry.fix_hz > 0 || (telemetry.imu_hz > 0 && telemetry.rates);
    for (std::size_t k = 0; k < kCheckpoints; ++k) {
        if (static_cast<Checkpoint>(k) < Checkpoint::apogee)
            mark(Demand::apogees, k, &PredictionScore::apogee_inside, 85, 95);
        if (placed) mark(Demand::landings, k, &PredictionScore::landing_inside, 90, 98);
    }
    double oldest_s = NAN;
    for (const TrialScore& score : scores) oldest_s = std::fmax(oldest_s, score.oldest_prediction_s);
    out.push_back({Demand::age, "oldest when shown, s", oldest_s, 0, kOldest_s});
}

void mark_health(const ListedCase& listed, const Scores& scores, std::vector<Mark>& out) {
    constexpr std::array<const char*, kLamps> kNames{"vertical filter", "GNSS fixes", "pressure altitude"};
    const bool worse = listed.group == CaseGroup::troubles;
    for (std::size_t k = 0; k < kLamps && !worse; ++k) {
        Ratio consistent;
        for (const TrialScore& score : scores)
            if (score.lamps[k].rows > 0) consistent.add(score.lamps[k].consistent, score.lamps[k].rows);
        if (!consistent.flights.empty())
            out.push_back(
                {Demand::consistent, kNames.at(k), 100 * consistent.value(), 95, 100, 100 * consistent.chance()});
    }
    if (!worse) return;
    Ratio safe;
    for (const TrialScore& score : scores)
        safe.add(std::isnan(score.harmed_s) || score.warned_s <= score.harmed_s ? 1 : 0, 1);
    out.push_back({Demand::warned, "flights", 100 * safe.value(), 90, 100, safe.chance_percent()});
}

} // namespace

std::string text_of(Demand demand) {
    switch (demand) {
    case Demand::sigmas: return "mean of (error / sigma)² of a quantity in a phase: 0.5 to 2";
    case Demand::moment_sigmas: return "the same of a moment's time";
    case Demand::moments: return "moments missed or false: none, rough at most 2 in 1000 flights";
    case Demand::moment_times: return "median error of a moment: at most 1.5 periods of the fastest sensor";
    case Demand::apogees: return "apogee in its 90 % interval: 85 to 95 % of flights";
    case Demand::landings: return "landing in its 95 % ellipse: 90 to 98 % of flights";
    case Demand::position: return "position once fixes are back for 1 s: 99 % of the time";
    case Demand::age: return "a prediction when it is shown: at most 0.5 s old";
    case Demand::consistent: return "health \"consistent\": 95 % of judged rows";
    case Demand::warned: return "no harm or a warning before it: 90 % of flights with a fault";
    }
    return "";
}

double Mark::beyond() const {
    if (met()) return 0;
    if (std::isnan(value)) return kInfinite;
    if (!is_factor(demand)) return value < low ? low - value : value - high;
    return value < low ? low / value : value / high;
}

std::string Mark::text() const {
    if (std::isnan(value)) return "**none**";
    const bool percent = !is_factor(demand) && demand != Demand::moments;
    const char* format = "%.2f";
    if (demand == Demand::moments) format = "%.0f";
    if (percent) format = demand == Demand::position ? "%.2f %%" : "%.1f %%";
    const std::string number = trials::text(format, value);
    return met() ? number : "**" + number + "**";
}

std::vector<Mark> marks_of(const ListedCase& listed, const Scores& scores) {
    std::vector<Mark> out;
    const sim::Telemetry telemetry = scenario_of(listed.trial_case).telemetry;
    mark_sigmas(scores, out);
    if (listed.group == CaseGroup::ground) return out;
    mark_moments(listed, telemetry, scores, out);
    mark_predictions(telemetry, scores, out);
    Ratio placed;
    for (const TrialScore& score : scores)
        if (score.with_fixes_s > 0) placed.add(score.placed_s, score.with_fixes_s);
    if (!placed.flights.empty())
        out.push_back({Demand::position, "time", 100 * placed.value(), 99, 100, 100 * placed.chance()});
    mark_health(listed, scores, out);
    return out;
}

} // namespace turnstone::trials
