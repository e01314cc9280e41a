#pragma once
/// The sentences of events that take more than a line to make, for the table in events.cpp.
#include <algorithm>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "server/estimate/event.hpp"

namespace turnstone::sentences {

/// The values by name, for sentences. A missing one reads as zero, empty or false, so that no sentence fails.
class Facts {
  public:
    explicit Facts(const EstimateEvent& event) : event_(event) {}

    [[nodiscard]] const std::string& about() const { return event_.about; }
    [[nodiscard]] bool has(std::string_view name) const {
        return std::ranges::find(event_.values, name, &EventValue::name) != event_.values.end();
    }
    [[nodiscard]] double number(std::string_view name) const { return get<double>(name); }
    [[nodiscard]] bool flag(std::string_view name) const { return get<bool>(name); }
    [[nodiscard]] std::string text(std::string_view name) const { return get<std::string>(name); }
    [[nodiscard]] std::vector<std::string> list(std::string_view name) const {
        return get<std::vector<std::string>>(name);
    }

  private:
    template <class T>
    [[nodiscard]] T get(std::string_view name) const {
        for (const EventValue& value : event_.values)
            if (value.name == name && std::holds_alternative<T>(value.value)) return std::get<T>(value.value);
        return T{};
    }
    const EstimateEvent& event_;
};

/// "2 devices may act now".
[[nodiscard]] std::string devices_that_may_act(const Facts& facts);
/// "Barometer" or "Accelerometer", by the role that the event is about.
[[nodiscard]] std::string sensor(const Facts& facts);
/// The words of the landing case that the event is about.
[[nodiscard]] std::string_view landing_case(const Facts& facts);
[[nodiscard]] std::string predictions_refused(const Facts& facts);
[[nodiscard]] std::string signal_lost(const Facts& facts);
[[nodiscard]] std::string impact_expected(const Facts& facts);
[[nodiscard]] std::string impact_over(const Facts& facts);
[[nodiscard]] std::string estimate_missing(const Facts& facts);
[[nodiscard]] std::string link_is(const Facts& facts);
[[nodiscard]] std::string link_trouble(const Facts& facts);
[[nodiscard]] std::string link_trouble_over(const Facts& facts);
[[nodiscard]] std::string link_trouble_advice(const Facts& facts);
/// The name of the parachute that the event is about, to begin a sentence with.
[[nodiscard]] std::string parachute(const Facts& facts);
/// Of a marker or a note, as it was written.
[[nodiscard]] std::string mark(const Facts& facts);
/// "T-10:00", "T+0:03".
[[nodiscard]] std::string before_zero(double left_s);
[[nodiscard]] std::string limit(const Facts& facts);
[[nodiscard]] std::string unexpected_state(const Facts& facts);
/// "7.40 V", "904.20 hPa", "200 MB": a value with its unit as it is shown.
[[nodiscard]] std::string with_unit(double in, const std::string& recorded, int places);
/// A figure in the unit that people read it in: turn rates in degrees per second, bytes in thousands, millions, ...
struct PeoplesFigure {
    double value;
    std::string unit;
    int decimals;
};
[[nodiscard]] PeoplesFigure for_people(double value, const std::string& unit, int decimals);
[[nodiscard]] std::string procedure_ended(const Facts& facts);
[[nodiscard]] std::string check_decided(const Facts& facts);
[[nodiscard]] std::string statement(const Facts& facts);
[[nodiscard]] std::string poll_answered(const Facts& facts);
[[nodiscard]] std::string entered(const Facts& facts);
[[nodiscard]] std::string not_ready(const Facts& facts);
[[nodiscard]] std::string readiness_at_liftoff(const Facts& facts);
[[nodiscard]] std::string past_procedure(const Facts& facts);

} // namespace turnstone::sentences
