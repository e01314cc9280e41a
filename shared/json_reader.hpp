#pragma once
/// Reads a JSON file into typed values and reports every mistake, not just the first, each with its JSON Pointer
/// (RFC 6901), what is wrong and what would be right.
#include <cstdint>
#include <filesystem>
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json.hpp>

#include "shared/result.hpp"

namespace turnstone {

/// One mistake in a file. `pointer` is an RFC 6901 JSON Pointer ("" is the whole document).
struct Problem {
    std::string file;
    std::string pointer;
    std::string wrong; ///< what is wrong
    std::string right; ///< what would be right
};

/// "file: pointer: wrong; right" on one line.
[[nodiscard]] std::string to_string(const Problem& problem);
[[nodiscard]] std::string to_string(const std::vector<Problem>& problems);

/// Parses a file's text. A syntax error becomes one Problem with line and column, and the result is empty.
[[nodiscard]] std::optional<nlohmann::json> parse_json_file(const std::filesystem::path& path,
                                                           std::vector<Problem>& problems);
[[nodiscard]] std::optional<nlohmann::json> parse_json_text(std::string_view text, const std::string& file,
                                                           std::vector<Problem>& problems);

/// A view of one JSON value with its pointer. Every getter that finds a mistake appends a Problem and returns a
/// harmless value, so that a reader goes on and finds the next mistake. Members that no getter asked for are
/// reported by `finish()` as unknown (a spelling mistake must not become a silent default).
class JsonReader {
  public:
    JsonReader(const nlohmann::json& value, std::string file, std::vector<Problem>& problems, std::string pointer = "");

    [[nodiscard]] bool is_object() const noexcept { return value_->is_object(); }
    [[nodiscard]] bool is_array() const noexcept { return value_->is_array(); }
    [[nodiscard]] bool has(std::string_view key) const;
    [[nodiscard]] const nlohmann::json& json() const noexcept { return *value_; }
    [[nodiscard]] const std::string& pointer() const noexcept { return pointer_; }

    /// Required members.
    std::string text(std::string_view key);
    double number(std::string_view key, double min, double max);
    std::int64_t integer(std::string_view key, std::int64_t min, std::int64_t max);
    bool boolean(std::string_view key);
    /// One of `allowed`; returns its index (0 after a mistake).
    std::size_t choice(std::string_view key, const std::vector<std::string_view>& allowed);

    /// Optional members: the default when absent, a Problem when present and wrong.
    std::string text_or(std::string_view key, std::string fallback);
    double number_or(std::string_view key, double min, double max, double fallback);
    std::int64_t integer_or(std::string_view key, std::int64_t min, std::int64_t max, std::int64_t fallback);
    bool boolean_or(std::string_view key, bool fallback);
    std::size_t choice_or(std::string_view key, const std::vector<std::string_view>& allowed, std::size_t fallback);

    /// Sub-values. `object` and `array` report a Problem when missing or of another type.
    [[nodiscard]] std::optional<JsonReader> object(std::string_view key);
    [[nodiscard]] std::vector<JsonReader> array(std::string_view key, std::size_t min_size, std::size_t max_size);
    [[nodiscard]] std::optional<JsonReader> object_if(std::string_view key);
    [[nodiscard]] std::vector<JsonReader> array_if(std::string_view key, std::size_t max_size);
    /// Members of this object, each with its pointer (for maps such as enumerations).
    [[nodiscard]] std::vector<std::pair<std::string, JsonReader>> members();
    /// This value as a number (array elements, enumeration keys).
    double as_number(double min, double max);
    std::string as_text();
    /// This value as a row of exactly `columns` finite numbers.
    std::vector<double> as_row(std::size_t columns);

    /// Marks a key as known without reading it ("$schema", comments).
    void ignore(std::string_view key);
    /// Reports a mistake at this value, or at one of its members.
    void problem(std::string wrong, std::string right);
    void problem_at(std::string_view key, std::string wrong, std::string right);
    /// Reports members that nothing asked for.
    void finish();

  private:
    const nlohmann::json* find(std::string_view key, bool required, std::string_view expected);

    const nlohmann::json* value_;
    std::string file_;
    std::vector<Problem>* problems_;
    std::string pointer_;
    std::vector<std::string> known_;
};

} // namespace turnstone
