#include "server/pipeline/checklist/check_tables.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "server/pipeline/event_sentences.hpp"

namespace turnstone {

namespace {

void add_columns(const Check& check, const CheckBinding& binding, std::vector<Column>& out) {
    Column measured{check.id, check.title, binding.unit, "", binding.decimals, check.why};
    measured.enumeration = binding.words;
    Column margin{check.id + "_margin", check.title + ", margin",
                  binding.unit,         "",
                  binding.decimals,     "Room left to the limit; negative: beyond it"};
    Column state{check.id + "_state", check.title + ", state", "1", "", 0, "", enumeration<CheckState>()};
    for (Column* column : {&measured, &margin, &state}) {
        column->from_predictions = binding.from_predictions;
        out.push_back(std::move(*column));
    }
}

Table table_of(const PipelineSetup& setup, std::size_t vehicle, const std::string& name, std::string title,
               double period_s) {
    return {.name = setup.vehicles[vehicle].dictionary.vehicle + "/" + name,
            .title = std::move(title),
            .kind = TableKind::estimate,
            .vehicle = static_cast<int>(vehicle),
            .period_s = period_s,
            .columns = {}};
}

/// A limit for a person: in its word, or with its unit; short times in milliseconds.
std::string limit_text(double value, const std::string& unit, int decimals, const Enumeration& words) {
    if (const auto known = words.find(std::llround(value)); known != words.end() && std::round(value) == value)
        return known->second;
    const auto plain = [](double number) { return fmt::format("{:.6g}", number); };
    if (unit == "s" && value != 0 && std::abs(value) < 1) return plain(value * 1e3) + " ms";
    if (unit == "s") return std::abs(value) < 600 ? plain(value) + " s" : plain(value / 60) + " min";
    if (unit == "1") return plain(value);
    if (unit == "{fraction}") return plain(100 * value) + " %";
    if (unit == "d") return plain(value) + (value == 1 ? " day" : " days");
    const sentences::PeoplesFigure figure = sentences::for_people(value, unit, decimals);
    // As many digits as the file gives, at least; of degrees Celsius, in which kelvins are shown. What is round in
    // radians is not in degrees: then three digits that count.
    const double shown = unit == "K" ? value - 273.15 : figure.value;
    const int counting = shown == 0 ? 0 : 2 - static_cast<int>(std::floor(std::log10(std::abs(shown))));
    const int most = unit == "rad/s" ? std::max(figure.decimals, counting) : 6;
    int digits = figure.decimals;
    for (; digits < most; ++digits)
        if (std::abs(std::round(shown * std::pow(10, digits)) - shown * std::pow(10, digits)) < 1e-6) break;
    std::string out = sentences::with_unit(figure.value, figure.unit, digits);
    if (out.front() == '-') out.replace(0, 1, "−"); // under the measured values, which have it
    return out;
}

} // namespace

bool is_difference(const Check& check) {
    const bool of_values = check.measure == Measure::noise || check.measure == Measure::spread ||
                           (check.measure >= Measure::drop && check.measure <= Measure::peak);
    return check.is_within || of_values || !check.from.empty() || check.from_reference.has_value();
}

std::vector<Table> check_tables(const PipelineSetup& setup, const Schema& schema) {
    constexpr double kRowPeriod_s = 1;
    std::vector<Table> out;
    for (std::size_t v = 0; v < setup.vehicles.size(); ++v) {
        const VehicleSetup& vehicle = setup.vehicles[v];
        for (const Procedure& procedure : vehicle.procedures) {
            Table table = table_of(setup, v, "procedure/" + procedure.id, procedure.title, 0);
            for (const Check& check : procedure.checks)
                add_columns(check, bind_check(check, setup, schema, v), table.columns);
            out.push_back(std::move(table));
        }
        if (!vehicle.readiness) continue;
        Table table = table_of(setup, v, "readiness", "Readiness", kRowPeriod_s);
        bool from_predictions = false;
        for (const Check* check : checks_of(*vehicle.readiness)) {
            add_columns(*check, bind_check(*check, setup, schema, v), table.columns);
            from_predictions = from_predictions || table.columns.back().from_predictions;
        }
        Column ready{
            std::string(kReadyColumn),       "Ready", "1", "", 0, "Every must-check holds and every position says go",
            {{0, "not ready"}, {1, "ready"}}};
        ready.from_predictions = from_predictions;
        table.columns.push_back(std::move(ready));
        out.push_back(std::move(table));
    }
    return out;
}

namespace {

/// Words have no order that a reader knows: those that a limit lets through, "good" or "good or fair".
std::string one_of(const Enumeration& words, const Check& check) {
    std::string out;
    for (const auto& [number, word] : words) {
        const auto value = static_cast<double>(number);
        if (value < check.least.value_or(value) || value > check.most.value_or(value)) continue;
        out += (out.empty() ? "" : " or ") + word;
    }
    return out;
}

} // namespace

std::string required_text(const Check& check, const std::string& unit, int decimals, const Enumeration& words) {
    const bool is_kelvin = unit == "K" && is_difference(check); // which is said in degrees Celsius otherwise
    const auto text = [&](double value) {
        return is_kelvin ? fmt::format("{:.6g} K", value) : limit_text(value, unit, decimals, words);
    };
    if (check.subject == CheckSubject::statement) return "confirmed";
    if (check.subject == CheckSubject::says)
        return check.name.empty() ? "the dictionary's version" : "\"" + check.name + "\"";
    if (check.subject == CheckSubject::passed && check.most) return "passed in the last " + text(*check.most);
    if (check.subject == CheckSubject::alert && check.most == 0.0) return "none raised";
    if (check.is_within) return "± " + text(*check.most);
    if (check.least && check.most) {
        if (*check.least == *check.most) return text(*check.least);
        if (!words.empty()) return one_of(words, check);
        return text(*check.least) + " to " + text(*check.most);
    }
    if (check.subject == CheckSubject::count && check.most == 0.0) return "none";
    if (check.subject == CheckSubject::count)
        return check.least ? "at least " + text(*check.least) : "at most " + text(check.most.value_or(0));
    if (!words.empty()) return one_of(words, check);
    return check.least ? "≥ " + text(*check.least) : "≤ " + text(check.most.value_or(0));
}

bool is_of_figures(const Check& check) {
    return check.subject != CheckSubject::statement && check.subject != CheckSubject::says;
}

std::optional<double> room_of(const Check& check) {
    if (!is_of_figures(check)) return std::nullopt;
    if (check.is_within) return *check.most;
    if (check.least && check.most) {
        const double half = (*check.most - *check.least) / 2;
        return half > 0 ? std::optional(half) : std::nullopt;
    }
    const double limit = std::abs(check.least.value_or(check.most.value_or(0)));
    return limit > 0 ? std::optional(limit) : std::nullopt;
}

} // namespace turnstone
