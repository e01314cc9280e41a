#include "shared/json_reader.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <locale>
#include <sstream>
#include <utility>

#include <nlohmann/json.hpp>

namespace turnstone {

namespace {

std::string format_number(double value) {
    std::ostringstream out;
    out.imbue(std::locale::classic());
    out.precision(12);
    out << value;
    return out.str();
}

std::string range_text(std::string_view kind, double min, double max) {
    return "must be " + std::string(kind) + " from " + format_number(min) + " to " + format_number(max);
}

/// "is true", "is the text "abc"": the value as found, short enough for one line.
std::string found(const nlohmann::json& value) {
    switch (value.type()) {
    case nlohmann::json::value_t::object: return "is an object";
    case nlohmann::json::value_t::array: return "is an array";
    case nlohmann::json::value_t::string: {
        std::string text = value.dump(-1, ' ', true, nlohmann::json::error_handler_t::replace);
        if (text.size() > 60) text = text.substr(0, 57) + "...\"";
        return "is the text " + text;
    }
    default: return "is " + value.dump();
    }
}

std::string allowed_text(const std::vector<std::string_view>& allowed) {
    std::string text = "must be one of";
    for (std::size_t i = 0; i < allowed.size(); ++i) text += (i == 0 ? " \"" : ", \"") + std::string(allowed[i]) + "\"";
    return text;
}

std::optional<double> number_in(const nlohmann::json& value, double min, double max) {
    if (!value.is_number()) return std::nullopt;
    const double number = value.get<double>();
    if (!std::isfinite(number) || number < min || number > max) return std::nullopt;
    return number;
}

/// JSON does not tell 3 from 3.0, and neither does JSON Schema's "integer".
std::optional<std::int64_t> integer_in(const nlohmann::json& value, std::int64_t min, std::int64_t max) {
    std::int64_t number = 0;
    if (value.is_number_unsigned()) {
        const auto large = value.get<std::uint64_t>();
        if (large > static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max())) return std::nullopt;
        number = static_cast<std::int64_t>(large);
    } else if (value.is_number_integer()) {
        number = value.get<std::int64_t>();
    } else if (value.is_number_float()) {
        const double real = value.get<double>();
        if (!(std::abs(real) <= 9007199254740992.0) || real != std::floor(real)) return std::nullopt;
        number = static_cast<std::int64_t>(real);
    } else {
        return std::nullopt;
    }
    if (number < min || number > max) return std::nullopt;
    return number;
}

std::string integer_range_text(std::int64_t min, std::int64_t max) {
    return "must be a whole number from " + std::to_string(min) + " to " + std::to_string(max);
}

} // namespace

std::string escape_pointer(std::string_view key) {
    std::string out;
    for (const char c : key)
        if (c == '~')
            out += "~0";
        else if (c == '/')
            out += "~1";
        else
            out += c;
    return out;
}

std::string to_string(const Problem& problem) {
    return problem.file + ": " + (problem.pointer.empty() ? "(whole file)" : problem.pointer) + ": " + problem.wrong +
           "; " + problem.right;
}

std::string to_string(const std::vector<Problem>& problems) {
    std::string out;
    for (const Problem& problem : problems) out += (out.empty() ? "" : "\n") + to_string(problem);
    return out;
}

JsonReader::JsonReader(const nlohmann::json& value, std::string file, std::vector<Problem>& problems,
                       std::string pointer)
    : value_(&value), file_(std::move(file)), problems_(&problems), pointer_(std::move(pointer)) {}

bool JsonReader::is_object() const noexcept {
    return value_->is_object();
}

bool JsonReader::is_array() const noexcept {
    return value_->is_array();
}

bool JsonReader::has(std::string_view key) const {
    return value_->is_object() && value_->contains(key);
}

void JsonReader::problem(std::string wrong, std::string right) {
    problems_->push_back({file_, pointer_, std::move(wrong), std::move(right)});
}

void JsonReader::problem_at(std::string_view key, std::string wrong, std::string right) {
    problems_->push_back({file_, pointer_ + "/" + escape_pointer(key), std::move(wrong), std::move(right)});
}

const nlohmann::json* JsonReader::find(std::string_view key, bool required, const std::string& expected) {
    ignore(key);
    if (!value_->is_object()) {
        // One report, not one for each member that is then missing.
        if (!type_reported_) {
            type_reported_ = true;
            problem(found(*value_), "must be an object");
        }
        return nullptr;
    }
    const auto it = value_->find(key);
    if (it != value_->end()) return &*it;
    if (required) problem_at(key, "is missing", expected);
    return nullptr;
}

JsonReader JsonReader::child(const nlohmann::json& value, std::string_view key) const {
    return {value, file_, *problems_, pointer_ + "/" + escape_pointer(key)};
}

std::optional<std::string> JsonReader::read_text(const nlohmann::json& value, std::string_view key, bool may_be_empty) {
    if (value.is_string() && (may_be_empty || !value.get_ref<const std::string&>().empty()))
        return value.get<std::string>();
    problem_at(key, found(value), may_be_empty ? "must be text" : "must be text, not empty");
    return std::nullopt;
}

std::string JsonReader::text(std::string_view key) {
    const auto* value = find(key, true, "must be text, not empty");
    return value == nullptr ? std::string() : read_text(*value, key, false).value_or("");
}

std::string JsonReader::text_or(std::string_view key, std::string fallback) {
    const auto* value = find(key, false, "");
    return value == nullptr ? std::move(fallback) : read_text(*value, key, true).value_or(std::move(fallback));
}

double JsonReader::number(std::string_view key, double min, double max) {
    const auto* value = find(key, true, range_text("a number", min, max));
    if (value == nullptr) return min;
    const auto number = number_in(*value, min, max);
    if (!number) problem_at(key, found(*value), range_text("a number", min, max));
    return number.value_or(min);
}

std::optional<double> JsonReader::number_if(std::string_view key, double min, double max) {
    const auto* value = find(key, false, "");
    if (value == nullptr) return std::nullopt;
    const auto number = number_in(*value, min, max);
    if (!number) problem_at(key, found(*value), range_text("a number", min, max));
    return number;
}

double JsonReader::number_or(std::string_view key, double min, double max, double fallback) {
    return number_if(key, min, max).value_or(fallback);
}

std::int64_t JsonReader::integer(std::string_view key, std::int64_t min, std::int64_t max) {
    if (find(key, true, integer_range_text(min, max)) == nullptr) return min;
    return integer_or(key, min, max, min);
}

std::int64_t JsonReader::integer_or(std::string_view key, std::int64_t min, std::int64_t max, std::int64_t fallback) {
    const auto* value = find(key, false, "");
    if (value == nullptr) return fallback;
    const auto number = integer_in(*value, min, max);
    if (!number) problem_at(key, found(*value), integer_range_text(min, max));
    return number.value_or(fallback);
}

bool JsonReader::boolean(std::string_view key) {
    return find(key, true, "must be true or false") != nullptr && boolean_or(key, false);
}

bool JsonReader::boolean_or(std::string_view key, bool fallback) {
    const auto* value = find(key, false, "");
    if (value == nullptr) return fallback;
    if (!value->is_boolean()) {
        problem_at(key, found(*value), "must be true or false");
        return fallback;
    }
    return value->get<bool>();
}

std::size_t JsonReader::choice(std::string_view key, const std::vector<std::string_view>& allowed) {
    return find(key, true, allowed_text(allowed)) == nullptr ? 0 : choice_or(key, allowed, 0);
}

std::size_t JsonReader::choice_or(std::string_view key, const std::vector<std::string_view>& allowed,
                                  std::size_t fallback) {
    const auto* value = find(key, false, "");
    if (value == nullptr) return fallback;
    if (value->is_string()) {
        const auto it = std::find(allowed.begin(), allowed.end(), value->get_ref<const std::string&>());
        if (it != allowed.end()) return static_cast<std::size_t>(it - allowed.begin());
    }
    problem_at(key, found(*value), allowed_text(allowed));
    return fallback;
}

std::optional<JsonReader> JsonReader::object(std::string_view key) {
    if (find(key, true, "must be an object") == nullptr) return std::nullopt;
    return object_if(key);
}

std::optional<JsonReader> JsonReader::object_if(std::string_view key) {
    const auto* value = find(key, false, "");
    if (value == nullptr) return std::nullopt;
    if (!value->is_object()) {
        problem_at(key, found(*value), "must be an object");
        return std::nullopt;
    }
    return child(*value, key);
}

std::vector<JsonReader> JsonReader::elements(const nlohmann::json& array, std::string_view key, std::size_t min_size,
                                             std::size_t max_size) {
    const std::string right = "must be an array of " + std::to_string(min_size) + " to " + std::to_string(max_size);
    std::vector<JsonReader> out;
    if (!array.is_array()) {
        problem_at(key, found(array), right);
        return out;
    }
    if (array.size() < min_size || array.size() > max_size)
        problem_at(key, "has " + std::to_string(array.size()) + " elements", right);
    const std::size_t count = std::min(array.size(), max_size);
    out.reserve(count);
    for (std::size_t i = 0; i < count; ++i)
        out.emplace_back(array[i], file_, *problems_, pointer_ + "/" + escape_pointer(key) + "/" + std::to_string(i));
    return out;
}

std::vector<JsonReader> JsonReader::array(std::string_view key, std::size_t min_size, std::size_t max_size) {
    const auto* value =
        find(key, true, "must be an array of " + std::to_string(min_size) + " to " + std::to_string(max_size));
    return value == nullptr ? std::vector<JsonReader>{} : elements(*value, key, min_size, max_size);
}

std::vector<JsonReader> JsonReader::array_if(std::string_view key, std::size_t max_size) {
    const auto* value = find(key, false, "");
    return value == nullptr ? std::vector<JsonReader>{} : elements(*value, key, 0, max_size);
}

std::vector<std::pair<std::string, JsonReader>> JsonReader::members() {
    std::vector<std::pair<std::string, JsonReader>> out;
    if (!value_->is_object()) {
        problem(found(*value_), "must be an object");
        return out;
    }
    for (const auto& [key, value] : value_->items()) {
        ignore(key);
        out.emplace_back(key, child(value, key));
    }
    return out;
}

double JsonReader::as_number(double min, double max) {
    const auto number = number_in(*value_, min, max);
    if (!number) problem(found(*value_), range_text("a number", min, max));
    return number.value_or(min);
}

std::string JsonReader::as_text() {
    if (!value_->is_string() || value_->get_ref<const std::string&>().empty()) {
        problem(found(*value_), "must be text, not empty");
        return {};
    }
    return value_->get<std::string>();
}

std::vector<double> JsonReader::as_row(std::size_t columns) {
    const std::string right = "must be an array of " + std::to_string(columns) + " numbers";
    std::vector<double> row(columns, 0.0);
    if (!value_->is_array() || value_->size() != columns) {
        problem(value_->is_array() ? "has " + std::to_string(value_->size()) + " elements" : found(*value_), right);
        return row;
    }
    for (std::size_t i = 0; i < columns; ++i) {
        const auto number = number_in((*value_)[i], -1e300, 1e300);
        if (!number) problem_at(std::to_string(i), found((*value_)[i]), "must be a number");
        row[i] = number.value_or(0.0);
    }
    return row;
}

void JsonReader::ignore(std::string_view key) {
    if (std::find(known_.begin(), known_.end(), key) == known_.end()) known_.emplace_back(key);
}

void JsonReader::finish() {
    if (!value_->is_object()) return;
    std::string right = "remove it; known here:";
    for (const std::string& key : known_) right += " " + key;
    for (const auto& [key, value] : value_->items())
        if (std::find(known_.begin(), known_.end(), key) == known_.end())
            problem_at(key, "is an unknown member", right);
}

} // namespace turnstone
