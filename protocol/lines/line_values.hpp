#pragma once
/// A line of values with separators between (RFC 4180 within one line), and what a value may be. No allocation.
#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <string_view>

namespace turnstone {

inline constexpr std::size_t kLineValuesMax = 500; ///< as many as a table has columns

/// The values of one line. Of a quoted value the quotes are taken off, and "" within it is one quote.
class LineValues {
  public:
    /// False: a quote that is not closed, or is inside a value without quotes; or more values than kLineValuesMax.
    bool split(std::span<const std::byte> line, char separator) noexcept;
    [[nodiscard]] std::span<const std::string_view> values() const noexcept { return {values_.data(), count_}; }

  private:
    static constexpr std::size_t kCharactersMax = 4096;
    std::array<std::string_view, kLineValuesMax> values_;
    std::size_t count_ = 0;
    std::array<char, kCharactersMax> unquoted_; ///< values with "" inside
};

/// What a value says: a finite number, or none (an empty value, nan, inf). Empty: it is not a number.
struct LineNumber {
    std::optional<double> value = {};
};
/// Blanks around it do not count. Digits with the decimal sign and an exponent; no thousands sign, no hexadecimal.
[[nodiscard]] std::optional<LineNumber> line_number(std::string_view text, char decimal) noexcept;
/// The same of an integer: sign and digits.
[[nodiscard]] std::optional<LineNumber> line_integer(std::string_view text) noexcept;

} // namespace turnstone
