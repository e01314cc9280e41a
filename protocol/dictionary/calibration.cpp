#include "protocol/dictionary/calibration.hpp"

#include <algorithm>

#include <nlohmann/json.hpp>

namespace turnstone {
namespace {

/// Of one enumeration, and of the single values that viewers are given.
constexpr std::size_t kWordsMax = 1024;
constexpr std::size_t kCoefficientsMax = 10;
constexpr std::size_t kTablePointsMax = 256;
constexpr std::size_t kCasesMax = 64;
constexpr double kNumberMax = 1e300;
constexpr std::string_view kOtherwise = "else";

bool raw_fits(const Field& field, std::int64_t raw) {
    const bool is_signed = field.type == FieldType::signed_integer;
    if (field.coding == IntegerCoding::bcd) return raw >= 0;
    if (!is_signed) return raw >= 0 && (field.bit_width >= 63 || raw < (std::int64_t{1} << field.bit_width));
    if (field.bit_width >= 64) return true;
    const std::int64_t limit = std::int64_t{1} << (field.bit_width - 1);
    return raw >= -limit && raw < limit;
}

/// Sorts, and reports ranges that overlap.
template <class Value>
void put_in_order(JsonReader& reader, std::string_view key, Cases<Value>& cases) {
    std::sort(cases.ranges.begin(), cases.ranges.end(),
              [](const auto& a, const auto& b) { return a.first.least < b.first.least; });
    for (std::size_t i = 1; i < cases.ranges.size(); ++i)
        if (cases.ranges[i].first.least <= cases.ranges[i - 1].first.greatest) {
            reader.problem_at(key, "says two things of the raw value " + std::to_string(cases.ranges[i].first.least),
                              "must have ranges that do not overlap");
            return;
        }
}

/// Gives viewers a word for each value where they can look one up by the channel's number.
void give_to_viewers(Field& field) {
    std::size_t count = 0;
    for (const auto& [range, word] : field.words.ranges) {
        const auto more = static_cast<std::uint64_t>(range.greatest) - static_cast<std::uint64_t>(range.least);
        if (more >= kWordsMax || (count += more + 1) > kWordsMax) return;
    }
    for (const auto& [range, word] : field.words.ranges)
        for (std::int64_t raw = range.least;; ++raw) {
            field.enumeration.emplace(raw, word);
            if (raw == range.greatest) break;
        }
    field.words = {};
}

void read_enumeration(JsonReader& reader, Field& field) {
    auto enumeration = reader.object_if("enumeration");
    if (!enumeration) return;
    if (!is_integer(field.type)) {
        reader.problem_at("enumeration", "is on a field that is not an integer", "remove it, or use an integer type");
        return;
    }
    auto members = enumeration->members();
    if (members.empty() || members.size() > kWordsMax) {
        reader.problem_at("enumeration", "has " + std::to_string(members.size()) + " members",
                          "must have 1 to " + std::to_string(kWordsMax));
        return;
    }
    for (auto& [key, word] : members) {
        if (key == kOtherwise) {
            field.words.otherwise = word.as_text();
            continue;
        }
        const auto range = parse_raw_range(key);
        if (!range)
            word.problem("the member's name is not a raw value",
                         R"(must be a whole number such as "3", a range such as "4..7", or "else")");
        else if (!raw_fits(field, range->least) || !raw_fits(field, range->greatest))
            word.problem("the raw value " + key + " does not fit " + std::to_string(field.bit_width) + " bits",
                         "must fit the field's type");
        field.words.ranges.emplace_back(range.value_or(RawRange{0, 0}), word.as_text());
        if (!range) field.words.ranges.pop_back();
    }
    put_in_order(reader, "enumeration", field.words);
    if (!field.words.otherwise && !reader.has("calibration")) give_to_viewers(field);
}

Calibration read_linear(JsonReader& linear) {
    LinearCalibration result{linear.number("gain", -kNumberMax, kNumberMax),
                             linear.number("offset", -kNumberMax, kNumberMax)};
    if (result.gain == 0.0)
        linear.problem_at("gain", "is zero", "must not be zero: every raw value would mean the same");
    linear.finish();
    return result;
}

Calibration read_polynomial(JsonReader& calibration) {
    PolynomialCalibration result;
    for (JsonReader& coefficient : calibration.array("polynomial", 2, kCoefficientsMax))
        result.coefficients.push_back(coefficient.as_number(-kNumberMax, kNumberMax));
    return result;
}

Calibration read_table(JsonReader& calibration) {
    TableCalibration result;
    for (JsonReader& point : calibration.array("table", 2, kTablePointsMax)) {
        const std::vector<double> row = point.as_row(2);
        if (!point.is_array() || point.json().size() != 2) // reported already
            continue;
        if (!result.raw.empty() && row[0] <= result.raw.back())
            point.problem("the raw value is not above the one before it", "must be in ascending order of raw value");
        result.raw.push_back(row[0]);
        result.engineering.push_back(row[1]);
    }
    return result;
}

void ignore_forms(JsonReader& calibration) {
    for (const std::string_view form : {"linear", "polynomial", "table", "by", "cases"}) calibration.ignore(form);
    calibration.finish();
}

Calibration read_form(JsonReader& calibration, bool may_select) {
    const bool linear = calibration.has("linear");
    const bool polynomial = calibration.has("polynomial");
    const bool table = calibration.has("table");
    Calibration result;
    const bool is_unknown = linear + polynomial + table == 0 && !calibration.json().empty(); // reported by its name
    if (linear + polynomial + table != 1 && !is_unknown)
        calibration.problem("has " + std::to_string(linear + polynomial + table) + " of its forms",
                            std::string(R"(must be one of {"linear": ...}, {"polynomial": ...}, {"table": ...})") +
                                (may_select ? R"( and {"by": ..., "cases": ...})" : ""));
    else if (auto inner = linear ? calibration.object("linear") : std::nullopt)
        result = read_linear(*inner);
    else if (polynomial)
        result = read_polynomial(calibration);
    else if (table)
        result = read_table(calibration);
    return result;
}

/// {"by": FIELD, "cases": {"0": CALIBRATION, "1..3": ..., "else": ...}}
void read_selection(JsonReader& calibration, Field& field, Scope& scope) {
    field.calibration_slot = scope.slot_of(calibration, "by", calibration.text("by"));
    auto cases = calibration.object("cases");
    if (!cases) return;
    auto members = cases->members();
    if (members.empty() || members.size() > kCasesMax) {
        calibration.problem_at("cases", "has " + std::to_string(members.size()) + " members",
                               "must have 1 to " + std::to_string(kCasesMax));
        return;
    }
    for (auto& [key, one] : members) {
        Calibration form = read_form(one, false);
        ignore_forms(one);
        const auto range = parse_raw_range(key);
        if (key == kOtherwise)
            field.calibrations.otherwise = std::move(form);
        else if (range)
            field.calibrations.ranges.emplace_back(*range, std::move(form));
        else
            one.problem("the member's name is not a raw value",
                        R"(must be a whole number such as "3", a range such as "4..7", or "else")");
    }
    put_in_order(calibration, "cases", field.calibrations);
}

void read_calibration(JsonReader& reader, Field& field, Scope& scope) {
    auto calibration = reader.object_if("calibration");
    if (!calibration) return;
    if (field.is_text() || field.type == FieldType::time) {
        reader.problem_at("calibration", "is on a field that is not a number", "remove it");
        return;
    }
    if (calibration->has("by"))
        read_selection(*calibration, field, scope);
    else
        field.calibration = read_form(*calibration, true);
    ignore_forms(*calibration);
}

} // namespace

void read_meaning(JsonReader& reader, Field& field, Scope& scope) {
    read_enumeration(reader, field);
    read_calibration(reader, field, scope);
}

} // namespace turnstone
