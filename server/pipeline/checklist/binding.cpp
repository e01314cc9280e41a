#include "server/pipeline/checklist/binding.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include <fmt/format.h>

#include "protocol/text/title.hpp"
#include "shared/geodesy.hpp"

namespace turnstone {

namespace {

/// A few of the names, for a person who misspelt one.
constexpr std::size_t kNamesShown = 40;

template <class Range, class Name>
std::string list_of(const Range& range, Name name) {
    std::string out;
    std::size_t count = 0;
    for (const auto& each : range) {
        const std::string text = name(each);
        if (text.empty()) continue;
        if (++count > kNamesShown) return out + ", ...";
        out += (out.empty() ? "" : ", ") + text;
    }
    return out;
}

std::string_view unit_of_reference(Reference reference) {
    switch (reference) {
    case Reference::gravity: return "m/s2";
    case Reference::pad_pressure: return "Pa";
    case Reference::pad_temperature: return "K";
    case Reference::forecast_wind: break;
    }
    return "m/s";
}

struct Found {
    const Table* table = nullptr;
    std::vector<std::size_t> places = {}; ///< in Table::columns
};

class Binder {
  public:
    Binder(const Check& check, const PipelineSetup& setup, const Schema& schema, std::size_t vehicle)
        : check_(check), setup_(setup), schema_(schema), vehicle_(vehicle) {}

    CheckBinding bind() {
        switch (check_.subject) {
        case CheckSubject::value: value(); break;
        case CheckSubject::event:
            out_.unit = check_.event->figure.empty() ? "s" : unit_of_name(check_.event->figure);
            out_.decimals = out_.unit == "s" ? 3 : 1;
            break;
        case CheckSubject::gap: gap(); break;
        case CheckSubject::says: says(); break;
        case CheckSubject::passed:
            out_.unit = "d";
            out_.decimals = 1;
            passed();
            break;
        case CheckSubject::entered: entered(check_.name, "entered"); break;
        case CheckSubject::station:
            out_.unit = unit_of_name(word(check_.station));
            out_.decimals = 1;
            break;
        case CheckSubject::alert:
            out_.from_predictions = check_.name == word(EventId::landing_outside_boundary) ||
                                    check_.name == word(EventId::landing_case_outside) ||
                                    check_.name == word(EventId::impact_expected);
            break;
        case CheckSubject::count:
        case CheckSubject::statement: break;
        }
        if (out_.unit.empty()) out_.unit = check_.unit.empty() ? "1" : check_.unit;
        if (!check_.unit.empty() && check_.unit != out_.unit && out_.why_not.empty())
            mistake("unit", "is \"" + check_.unit + "\"", "the check measures in \"" + out_.unit + "\"");
        return std::move(out_);
    }

  private:
    void mistake(std::string member, std::string wrong, std::string right) {
        out_.mistakes.push_back({std::move(member), std::move(wrong), std::move(right)});
    }
    void cannot(const std::string& member, std::string wrong, std::string right) {
        if (out_.why_not.empty()) out_.why_not = wrong;
        mistake(member, std::move(wrong), std::move(right));
    }

    /// The vehicle that a reference is to; empty: it is not received here, for which the file is not to blame.
    std::optional<std::size_t> vehicle_of(const ColumnRef& ref) {
        if (ref.vehicle.empty()) return vehicle_;
        for (std::size_t v = 0; v < setup_.vehicles.size(); ++v)
            if (setup_.vehicles[v].dictionary.vehicle == ref.vehicle) return v;
        if (out_.why_not.empty()) out_.why_not = "vehicle \"" + ref.vehicle + "\" is not received here";
        return std::nullopt;
    }

    /// Tables that the reference names, without their columns.
    std::vector<const Table*> tables(const ColumnRef& ref, const std::string& member) {
        std::vector<const Table*> found;
        const auto vehicle = vehicle_of(ref);
        if (!vehicle) return found;
        const std::string prefix = setup_.vehicles[*vehicle].dictionary.vehicle + "/";
        if (ref.link.empty()) {
            const auto table = std::ranges::find(schema_.tables, prefix + ref.table, &Table::name);
            if (table != schema_.tables.end()) return {&*table};
            cannot(member, "has the unknown table \"" + ref.table + "\"",
                   "tables of " + setup_.vehicles[*vehicle].dictionary.vehicle + ": " +
                       list_of(schema_.tables, [&](const Table& each) {
                           return each.name.starts_with(prefix) ? each.name.substr(prefix.size()) : "";
                       }));
            return found;
        }
        for (const LinkSetup& link : setup_.links) {
            if (link.vehicle != *vehicle || (ref.link != "any" && ref.link != link.name)) continue;
            const auto table = std::ranges::find(schema_.tables, "link/" + link.name, &Table::name);
            if (table != schema_.tables.end()) found.push_back(&*table);
        }
        // Which links there are is a matter of the station's settings, not of the file.
        if (found.empty() && out_.why_not.empty()) out_.why_not = "no link \"" + ref.link + "\" carries it here";
        return found;
    }

    /// The columns among the table's numbers, or among its texts; empty: one is not there.
    std::optional<Found> columns(const Table& table, const ColumnRef& ref, const std::string& member, bool texts) {
        Found found{.table = &table, .places = {}};
        for (const std::string& name : ref.columns) {
            const auto column = std::ranges::find(table.columns, name, &Column::name);
            if (column == table.columns.end() || column->is_text != texts) {
                const bool is_there = column != table.columns.end();
                cannot(member,
                       is_there ? "has \"" + name + "\", which is " + (texts ? "not a text" : "a text")
                                : "has the unknown column \"" + name + "\"",
                       std::string(texts ? "text columns" : "columns") + " of " + table.name + ": " +
                           list_of(table.columns,
                                   [&](const Column& each) { return each.is_text == texts ? each.name : ""; }));
                return std::nullopt;
            }
            found.places.push_back(static_cast<std::size_t>(column - table.columns.begin()));
        }
        return found;
    }

    static BoundColumns bound(const Found& found, bool texts) {
        BoundColumns out{.table = found.table->id, .places = found.places};
        if (texts)
            for (std::size_t& place : out.places) place -= found.table->number_count;
        return out;
    }

    static const Column& first(const Found& found) { return found.table->columns[found.places.front()]; }

    void one_unit(const Found& found, const std::string& member) {
        for (const std::size_t place : found.places)
            if (found.table->columns[place].unit != first(found).unit)
                cannot(member,
                       "has columns in \"" + first(found).unit + "\" and in \"" + found.table->columns[place].unit +
                           "\"",
                       "a vector has one unit");
    }

    void value() {
        std::optional<Found> found;
        for (const Table* table : tables(check_.value, "value")) {
            auto each = columns(*table, check_.value, "value", false);
            if (!each) return;
            out_.value.push_back(bound(*each, false));
            out_.period_s = table->period_s;
            follows_from(*table);
            found = std::move(each);
        }
        if (!found) {
            if (check_.or_entered.empty()) return;
            out_.why_not.clear(); // a person's reading takes its place
            entered(check_.or_entered, "or_entered");
            return;
        }
        one_unit(*found, "value");
        if (check_.measure == Measure::turned) has_three_axes(*found);
        const Column& column = first(*found);
        out_.unit = column.unit;
        out_.decimals = column.decimals;
        if (check_.measure == Measure::newest && check_.from.empty() && !check_.from_reference)
            out_.words = column.enumeration;
        from(column);
        in_its_range(column, found->places.size());
        measured_in(column.unit);
        if (!check_.or_entered.empty() && unit_of_name(check_.or_entered) != out_.unit)
            mistake("or_entered", "is \"" + check_.or_entered + "\", which does not end as \"" + out_.unit + "\" does",
                    "name it with the unit of what is measured: wind_gust_mps for m/s");
    }

    /// Their mean at rest is gravity's reaction, in the vehicle's axes.
    void has_three_axes(const Found& found) {
        constexpr std::size_t kAxes = 3;
        if (found.places.size() == kAxes && first(found).unit == "m/s2") return;
        cannot("value", "is not the three axes of an accelerometer in m/s2",
               "turned needs them: \"columns\" with x, y and z");
    }

    void follows_from(const Table& table) {
        const std::string_view name = table.name;
        const bool predicted = name.ends_with("/estimate/landing") || name.ends_with("/estimate/ascent") ||
                               name.ends_with("/estimate/deployment");
        out_.from_predictions = out_.from_predictions || predicted;
    }

    void from(const Column& column) {
        if (check_.from_reference) {
            reference(column);
        } else if (!check_.from.empty()) {
            const auto others = tables(check_.from, "from");
            if (others.empty()) return;
            auto found = columns(*others.front(), check_.from, "from", false);
            if (!found) return;
            one_unit(*found, "from");
            if (first(*found).unit != column.unit)
                cannot("from", "is in \"" + first(*found).unit + "\", value in \"" + column.unit + "\"",
                       "compare columns of one unit");
            out_.from = bound(*found, false);
            follows_from(*others.front());
        }
    }

    void reference(const Column& column) {
        const std::string_view unit = unit_of_reference(*check_.from_reference);
        const auto known = reference_value(*check_.from_reference, setup_.site);
        if (unit != column.unit)
            cannot("from",
                   fmt::format("is {}, in \"{}\", value in \"{}\"", word(*check_.from_reference), unit, column.unit),
                   "compare what has one unit");
        if (known)
            out_.reference = *known;
        else if (out_.why_not.empty())
            out_.why_not = fmt::format("the site file has no {}", word(*check_.from_reference));
    }

    /// A limit that no value of the column can meet, or miss.
    void in_its_range(const Column& column, std::size_t columns) {
        const bool is_value = check_.measure == Measure::newest || check_.measure == Measure::mean ||
                              check_.measure == Measure::greatest || check_.measure == Measure::least;
        if (!column.valid_range || columns > 1 || !is_value || !check_.from.empty() || check_.from_reference) return;
        const auto [low, high] = *column.valid_range;
        const std::string range = fmt::format("\"{}\" has values from {} to {}", column.name, low, high);
        if (check_.least && *check_.least > high)
            mistake("least", fmt::format("is {}, which no value can reach", *check_.least), range);
        if (check_.most && *check_.most < low)
            mistake("most", fmt::format("is {}, below every value", *check_.most), range);
        const bool least_says_nothing = !check_.least || *check_.least <= low;
        const bool most_says_nothing = !check_.most || *check_.most >= high;
        if (least_says_nothing && most_says_nothing)
            mistake(check_.most ? "most" : "least", "is beyond every value, so that the check can never fail", range);
    }

    void measured_in(const std::string& unit) {
        switch (check_.measure) {
        case Measure::noise: out_.decimals += 1; break;
        case Measure::stuck:
        case Measure::left:
            out_.unit = "s";
            out_.decimals = 0;
            break;
        case Measure::rise:
        case Measure::duration:
        case Measure::back:
            out_.unit = "s";
            out_.decimals = 3;
            break;
        case Measure::turned:
            out_.unit = "deg";
            out_.decimals = 1;
            break;
        case Measure::impulse:
            out_.unit = unit == "1" ? "s" : unit + ".s";
            out_.decimals += 1;
            break;
        default: break;
        }
    }

    void gap() {
        out_.unit = "s";
        out_.decimals = 3;
        for (const Table* table : tables(check_.value, "gap")) {
            out_.value.push_back({.table = table->id});
            out_.period_s = table->period_s;
        }
    }

    void says() {
        for (const Table* table : tables(check_.value, "says"))
            if (const auto found = columns(*table, check_.value, "says", true)) {
                out_.value.push_back(bound(*found, true));
                out_.period_s = table->period_s;
            }
        const auto vehicle = vehicle_of(check_.value);
        out_.words = {{0, "differs"}, {1, "matches"}};
        out_.text = check_.name.empty() && vehicle ? setup_.vehicles[*vehicle].dictionary.version : check_.name;
    }

    void passed() {
        const auto& procedures = setup_.vehicles[vehicle_].procedures;
        if (std::ranges::find(procedures, check_.name, &Procedure::id) == procedures.end())
            cannot("passed", "names the procedure \"" + check_.name + "\", which the folder does not have",
                   procedures.empty()
                       ? "the folder has no procedures"
                       : "procedures: " + list_of(procedures, [](const Procedure& each) { return each.id; }));
    }

    void entered(const std::string& name, const std::string& member) {
        out_.unit = unit_of_name(name);
        out_.decimals = 1;
        if (out_.unit.empty() && check_.unit.empty())
            mistake(member, "is \"" + name + "\", which does not end in a unit",
                    "name it with its unit: wind_gust_mps");
    }

    const Check& check_;
    const PipelineSetup& setup_;
    const Schema& schema_;
    std::size_t vehicle_;
    CheckBinding out_;
};

} // namespace

CheckBinding bind_check(const Check& check, const PipelineSetup& setup, const Schema& schema, std::size_t vehicle) {
    return Binder(check, setup, schema, vehicle).bind();
}

std::optional<double> reference_value(Reference reference, const Site& site) {
    switch (reference) {
    case Reference::gravity: return normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m);
    case Reference::pad_pressure: return site.pad_pressure_pa;
    case Reference::pad_temperature: return site.pad_temperature_k;
    case Reference::forecast_wind: break;
    }
    return site.wind.empty() ? std::nullopt : std::optional(site.wind.front().speed_mps);
}

bool is_meant(const EventRef& ref, const Event& event, int vehicle) noexcept {
    if (event.id != ref.event || (event.vehicle != vehicle && event.vehicle >= 0)) return false;
    const bool is_life_of_alert = event.kind == EventKind::alert_cleared ||
                                  event.kind == EventKind::alert_acknowledged ||
                                  event.kind == EventKind::alert_shelved || event.kind == EventKind::alert_unshelved;
    if (is_life_of_alert) return false;
    if (ref.about.empty()) return true;
    const std::size_t at = event.key.size() - std::min(event.key.size(), ref.about.size() + 1);
    if (event.key.compare(at, 1, "/") == 0 && event.key.ends_with(ref.about)) return true;
    return std::ranges::any_of(event.values, [&](const EventValue& value) {
        const auto* text = std::get_if<std::string>(&value.value);
        return text != nullptr && *text == ref.about;
    });
}

std::string unit_of_name(std::string_view name) {
    constexpr std::array<std::pair<std::string_view, std::string_view>, 16> kEndings{{{"_mps2", "m/s2"},
                                                                                      {"_mps", "m/s"},
                                                                                      {"_radps", "rad/s"},
                                                                                      {"_degps", "deg/s"},
                                                                                      {"_deg", "deg"},
                                                                                      {"_rad", "rad"},
                                                                                      {"_pa", "Pa"},
                                                                                      {"_kg", "kg"},
                                                                                      {"_percent", "%"},
                                                                                      {"_m", "m"},
                                                                                      {"_k", "K"},
                                                                                      {"_s", "s"},
                                                                                      {"_h", "h"},
                                                                                      {"_v", "V"},
                                                                                      {"_a", "A"},
                                                                                      {"_n", "N"}}};
    for (const auto& [ending, unit] : kEndings)
        if (name.ends_with(ending)) return std::string(unit);
    return "";
}

std::string title_of_name(std::string_view name) {
    return title_from_name(name, unit_of_name(name));
}

} // namespace turnstone
