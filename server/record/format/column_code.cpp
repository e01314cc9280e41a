#include "server/record/format/column_code.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <string_view>
#include <utility>

namespace turnstone {

namespace {

/// Whole numbers below it are doubles.
constexpr double kCountsMax = 0x1p53;

/// Far below what any estimator knows: a centimetre of a good GNSS receiver, a thousandth of a degree.
constexpr std::array<std::pair<std::string_view, double>, 10> kCoarsestSteps{{{"m", 1e-3},
                                                                              {"m/s", 1e-3},
                                                                              {"m/s2", 1e-3},
                                                                              {"deg", 1e-3},
                                                                              {"deg/s", 1e-2},
                                                                              {"rad", 1e-6},
                                                                              {"rad/s", 1e-6},
                                                                              {"Pa", 1e-2},
                                                                              {"s", 1e-6},
                                                                              {"h", 1e-7}}};
/// Of what is shown with so many decimals: a tenth of the last digit.
constexpr std::array kStepsByDecimals{1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9};

bool is_counted(const Column& column) {
    return !column.enumeration.empty() || (column.decimals == 0 && (column.unit == "1" || column.unit == "By"));
}

double estimate_step(const Column& column) {
    const double shown = kStepsByDecimals.at(
        static_cast<std::size_t>(std::clamp(column.decimals, 0, static_cast<int>(kStepsByDecimals.size()) - 1)));
    const auto* coarsest = std::ranges::find(kCoarsestSteps, column.unit, &decltype(kCoarsestSteps)::value_type::first);
    return coarsest == kCoarsestSteps.end() ? shown : std::min(shown, coarsest->second);
}

/// A REAL literal that reads back as the same double.
std::string literal(double value) {
    std::array<char, 32> text{};
    const auto end = std::to_chars(text.begin(), text.end(), value).ptr;
    std::string sql(text.begin(), end);
    if (sql.find_first_of(".e") == std::string::npos) sql += ".0";
    return sql;
}

} // namespace

std::optional<std::int64_t> ColumnCode::count_of(double value) const noexcept {
    const double steps = (value - zero) / step;
    if (!(std::abs(steps) < kCountsMax)) return std::nullopt; // NaN too
    const std::int64_t count = std::llrint(steps);
    if (!rounded && value_of(count) != value) return std::nullopt;
    return count;
}

ColumnCode code_of(TableKind kind, const Column& column) {
    if (kind == TableKind::packet || kind == TableKind::batch)
        return column.step == 0 ? ColumnCode{} : ColumnCode{column.zero, column.step, false};
    if (is_counted(column)) return {};
    return {0, estimate_step(column), true};
}

double bind_number(Statement& insert, int place, const ColumnCode& code, double value) {
    if (const auto count = code.count_of(value)) {
        insert.bind(place, *count);
        return code.value_of(*count);
    }
    insert.bind(place, value);
    return value;
}

double number_of(const Statement& select, int place, const ColumnCode& code) {
    return select.is_integer(place) ? code.value_of(select.integer(place)) : select.number(place);
}

bool holds(const Statement& select, int place, const ColumnCode& code, double value) {
    if (select.is_integer(place)) return code.count_of(value) == select.integer(place);
    return select.is_null(place) ? std::isnan(value) : select.number(place) == value;
}

std::string value_sql(const std::string& cell, const ColumnCode& code) {
    if (code.step == 1 && code.zero == 0) return cell;
    const std::string value = (code.zero == 0 ? "" : literal(code.zero) + " + ") + cell + " * " + literal(code.step);
    return "iif(typeof(" + cell + ") = 'integer', " + value + ", " + cell + ")";
}

} // namespace turnstone
