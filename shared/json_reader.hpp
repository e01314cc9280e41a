#pragma once
/// Reads a JSON file into typed values and reports every mistake, not just the first, each with its JSON Pointer
/// (RFC 6901), what is wrong and what was expected.
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "shared/result.hpp"

namespace turnstone {

/// One mistake in a file. `pointer` is an RFC 6901 JSON Pointer ("" is the whole document).
struct Problem {
    std::string file;
    std::string pointer;
    std::string wrong; ///< what is wrong
    std::string right; ///< what was expected, or what to do
};

/// "file: pointer: wrong; right" on one line; the whole document is written "(whole file)".
[[nodiscard]] std::string to_string(const Problem& problem);
/// One line each, no line end after the last.
[[nodiscard]] std::string to_string(const std::vector<Problem>& problems);

/// RFC 6901 section 3: "~" is written "~0" and "/" is written "~1".
[[nodiscard]] std::string escape_pointer(std::string_view key);

/// `allowed` takes // and /* */ comments, for the one file that people edit by hand and annotate.
enum class JsonComments : unsigned char { refused, allowed };

/// Larger files are refused while they are read, deeper values while they are parsed, so memory and stack stay bounded.
inline constexpr std::uintmax_t kJsonFileBytesMax = 32u << 20;
inline constexpr std::size_t kJsonDepthMax = 64;

/// Parses a file's text. A syntax error becomes one Problem with line and column, a member that appears twice in one
/// object becomes a Problem with its pointer; both leave the result empty.
[[nodiscard]] std::optional<nlohmann::json> parse_json_file(const std::filesystem::path& path,
                                                            std::vector<Problem>& problems,
                                                            JsonComments comments = JsonComments::refused);
[[nodiscard]] std::optional<nlohmann::json> parse_json_text(std::string_view text, const std::string& file,
                                                            std::vector<Problem>& problems,
                                                            JsonComments comments = JsonComments::refused);

/// The whole of a text file of at most kJsonFileBytesMax bytes.
[[nodiscard]] Result<std::string> read_text_file(const std::filesystem::path& path);

/// A view of one JSON value with its pointer. A getter that finds a mistake appends a Problem and returns a harmless
/// value, so that the reader goes on to the next mistake. `finish()` reports members that no getter asked for: a
/// misspelt name must not become a silent default. The JSON value and `problems` must outlive the reader.
class JsonReader {
  public:
    JsonReader(const nlohmann::json& value, std::string file, std::vector<Problem>& problems, std::string pointer = "");

    [[nodiscard]] bool is_object() const noexcept;
    [[nodiscard]] bool is_array() const noexcept;
    /// Whether the member is there; does not count as asking for it.
    [[nodiscard]] bool has(std::string_view key) const;
    [[nodiscard]] const nlohmann::json& json() const noexcept { return *value_; }
    [[nodiscard]] const std::string& pointer() const noexcept { return pointer_; }

    /// Required members. Bounds are inclusive; text must not be empty.
    std::string text(std::string_view key);
    double number(std::string_view key, double min, double max);
    std::int64_t integer(std::string_view key, std::int64_t min, std::int64_t max);
    bool boolean(std::string_view key);
    /// One of `allowed`; returns its index (0 after a mistake).
    std::size_t choice(std::string_view key, const std::vector<std::string_view>& allowed);

    /// Optional members: the default when absent, a Problem when present and wrong. Text may be empty.
    std::string text_or(std::string_view key, std::string fallback);
    double number_or(std::string_view key, double min, double max, double fallback);
    std::int64_t integer_or(std::string_view key, std::int64_t min, std::int64_t max, std::int64_t fallback);
    bool boolean_or(std::string_view key, bool fallback);
    std::size_t choice_or(std::string_view key, const std::vector<std::string_view>& allowed, std::size_t fallback);
    /// Empty when absent or wrong.
    std::optional<double> number_if(std::string_view key, double min, double max);

    /// Sub-values. `object` and `array` report a Problem when missing or of another type.
    [[nodiscard]] std::optional<JsonReader> object(std::string_view key);
    [[nodiscard]] std::vector<JsonReader> array(std::string_view key, std::size_t min_size, std::size_t max_size);
    [[nodiscard]] std::optional<JsonReader> object_if(std::string_view key);
    [[nodiscard]] std::vector<JsonReader> array_if(std::string_view key, std::size_t max_size);
    /// Members of this object, each with its pointer (for maps such as enumerations). Marks them all as known.
    [[nodiscard]] std::vector<std::pair<std::string, JsonReader>> members();
    /// This value as a number (array elements, enumeration keys).
    double as_number(double min, double max);
    std::string as_text();
    /// This value as a row of exactly `columns` finite numbers; zeros after a mistake.
    std::vector<double> as_row(std::size_t columns);

    /// Marks a key as known without reading it ("$schema", comments).
    void ignore(std::string_view key);
    /// Reports a mistake at this value, or at one of its members.
    void problem(std::string wrong, std::string right);
    void problem_at(std::string_view key, std::string wrong, std::string right);
    /// Reports members that nothing asked for.
    void finish();

  private:
    const nlohmann::json* find(std::string_view key, bool required, const std::string& expected);
    [[nodiscard]] JsonReader child(const nlohmann::json& value, std::string_view key) const;
    std::vector<JsonReader> elements(const nlohmann::json& array, std::string_view key, std::size_t min_size,
                                     std::size_t max_size);
    std::optional<std::string> read_text(const nlohmann::json& value, std::string_view key, bool may_be_empty);

    const nlohmann::json* value_;
    std::string file_;
    std::vector<Problem>* problems_;
    std::string pointer_;
    std::vector<std::string> known_;
    bool type_reported_ = false;
};

} // namespace turnstone
