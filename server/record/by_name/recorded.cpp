#include "server/record/by_name/recorded.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kNothing = std::numeric_limits<double>::quiet_NaN();

/// A line is drawn on over this many missing rows.
constexpr double kRowsBridged = 3.5;

template <class Value>
const Value* fact_of(const Event& event, std::string_view name) {
    const auto found = std::ranges::find(event.values, name, &EventValue::name);
    return found == event.values.end() ? nullptr : std::get_if<Value>(&found->value);
}

} // namespace

double RowValues::value(std::string_view column) const {
    const auto place = number_column(*table_, column);
    return place && *place < numbers_.size() ? numbers_[*place] : kNothing;
}

double RowValues::sigma(std::string_view column) const {
    const auto place = number_column(*table_, column);
    return place ? value(table_->columns[*place].sigma_column) : kNothing;
}

std::string RowValues::word_of(std::string_view column) const {
    const auto place = number_column(*table_, column);
    const double number = value(column);
    if (!place || std::isnan(number)) return {};
    for (const auto& [value, word] : table_->columns[*place].enumeration)
        if (static_cast<double>(value) == number) return word;
    return {};
}

std::optional<std::size_t> number_column(const Table& table, std::string_view name) {
    if (name.empty()) return std::nullopt;
    for (std::size_t i = 0; i < table.number_count; ++i)
        if (table.columns[i].name == name) return i;
    return std::nullopt;
}

Recorded::Recorded(RecordingReader& reader)
    : reader_(reader), info_(reader.info()), setup_(reader.description()),
      events_(reader.events(std::numeric_limits<std::int64_t>::min(), std::numeric_limits<std::int64_t>::max())) {}

const Table* Recorded::table(std::string_view name) const {
    const auto& tables = reader_.schema().tables;
    const auto found = std::ranges::find(tables, name, &Table::name);
    return found == tables.end() ? nullptr : &*found;
}

const Table* Recorded::table(std::size_t vehicle, std::string_view name) const {
    return table(vehicle_name(vehicle) + "/" + std::string(name));
}

std::optional<ColumnPlace> Recorded::column(const Table* table, std::string_view name) const {
    if (table == nullptr) return std::nullopt;
    const auto place = number_column(*table, name);
    return place ? std::optional(ColumnPlace{table, *place}) : std::nullopt;
}

std::optional<ColumnPlace> Recorded::with_role(std::size_t vehicle,
                                               std::initializer_list<std::string_view> roles) const {
    for (const std::string_view role : roles)
        for (const Table& table : tables()) {
            if (table.vehicle != static_cast<int>(vehicle)) continue;
            for (std::size_t i = 0; i < table.number_count; ++i)
                if (table.columns[i].role == role) return ColumnPlace{&table, i};
        }
    return std::nullopt;
}

std::optional<ColumnPlace> Recorded::with_rows(std::size_t vehicle, std::initializer_list<std::string_view> roles,
                                               Window window, std::size_t least) const {
    for (const std::string_view role : roles) {
        const auto place = with_role(vehicle, {role});
        if (!place) continue;
        const SeriesBlock block = rows(*place->table, {place->column}, window);
        if (static_cast<std::size_t>(std::ranges::count_if(block.mean, [](double v) { return std::isfinite(v); })) >=
            least)
            return place;
    }
    return std::nullopt;
}

Trace Recorded::trace(const ColumnPlace& place, Window window, std::int64_t origin_ns, std::size_t points) const {
    Trace trace;
    const auto block = reader_.series({place.table->id, {place.column}, window.from_ns, window.to_ns, points});
    if (!block) return trace;
    const double bin_s =
        block->decimated ? seconds_between(window.from_ns, window.to_ns) / static_cast<double>(points) : 0;
    const double bridged_s = kRowsBridged * std::max(place.table->period_s, bin_s);
    const auto add = [&](double t_s, double y, double low, double high) {
        trace.t.push_back(t_s);
        trace.y.push_back(y);
        if (!block->decimated) return;
        trace.low.push_back(low);
        trace.high.push_back(high);
    };
    for (std::size_t i = 0; i < block->rows; ++i) {
        const double t_s = seconds_between(origin_ns, block->t_ns[i]);
        if (place.table->period_s > 0 && !trace.t.empty() && t_s - trace.t.back() > bridged_s)
            add(0.5 * (t_s + trace.t.back()), kNothing, kNothing, kNothing);
        add(t_s, block->mean[i], block->min[i], block->max[i]);
    }
    return trace;
}

SeriesBlock Recorded::rows(const Table& table, const std::vector<std::size_t>& columns, Window window,
                           std::size_t points) const {
    auto block = reader_.series({table.id, columns, window.from_ns, window.to_ns, points});
    return block ? std::move(*block) : SeriesBlock{};
}

std::optional<RowValues> Recorded::row_at(const Table* table, std::int64_t t_ns) const {
    if (table == nullptr) return std::nullopt;
    const auto latest = reader_.latest(t_ns);
    if (table->id >= latest.size() || !latest[table->id]) return std::nullopt;
    return RowValues(*table, latest[table->id]->first, latest[table->id]->second);
}

std::vector<RowValues> Recorded::rows_of(const Table* table, Window window, std::size_t most) const {
    std::vector<RowValues> found;
    if (table == nullptr || table->number_count == 0) return found;
    std::vector<std::size_t> columns(table->number_count);
    for (std::size_t i = 0; i < columns.size(); ++i) columns[i] = i;
    const SeriesBlock block = rows(*table, columns, window);
    for (std::size_t i = 0; i < std::min(most, block.rows); ++i) {
        std::vector<double> numbers;
        for (std::size_t c = 0; c < columns.size(); ++c) numbers.push_back(block.mean[c * block.rows + i]);
        found.emplace_back(*table, block.t_ns[i], std::move(numbers));
    }
    return found;
}

std::string_view what(const Event& event) {
    return event.id ? word(*event.id) : std::string_view();
}

double number_in(const Event& event, std::string_view name) {
    const double* number = fact_of<double>(event, name);
    return number == nullptr ? kNothing : *number;
}

std::string text_in(const Event& event, std::string_view name) {
    const std::string* text = fact_of<std::string>(event, name);
    return text == nullptr ? std::string() : *text;
}

bool flag_in(const Event& event, std::string_view name) {
    const bool* flag = fact_of<bool>(event, name);
    return flag != nullptr && *flag;
}

std::vector<std::string> texts_in(const Event& event, std::string_view name) {
    const auto* texts = fact_of<std::vector<std::string>>(event, name);
    return texts == nullptr ? std::vector<std::string>() : *texts;
}

} // namespace turnstone
