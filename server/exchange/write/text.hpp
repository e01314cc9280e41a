#pragma once
/// Numbers, times and texts as CSV and JSON have them. The functions that take `at` write there and return the end; the
/// room that they need at most stands beside them.
#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

#include "server/exchange/write/output.hpp"

namespace turnstone::exchange {

inline constexpr std::size_t kNumberRoom = 32;
/// The shortest decimal text that reads back as the same double, without an exponent between 1e-4 and 1e16; of minus
/// zero "-0.0", since "-0" is the integer 0 to many readers of JSON. `value` is finite.
[[nodiscard]] char* put_number(char* at, double value) noexcept;

/// Seconds as exact decimals: "-12.000000001", "3".
[[nodiscard]] char* put_seconds(char* at, std::int64_t ns) noexcept;

inline constexpr std::size_t kUtcCharacters = 30;
/// UTC as RFC 3339 has it, to the nanosecond. Quick for times that follow one another.
class UtcText {
  public:
    [[nodiscard]] char* put(char* at, std::int64_t utc_ns) noexcept;

  private:
    std::int64_t second_ = INT64_MIN; ///< that text_ is of
    std::array<char, kUtcCharacters> text_{};
};
[[nodiscard]] std::string utc_text(std::int64_t utc_ns);

/// A cell of RFC 4180: in quotes where it must be.
void put_csv_cell(Output& out, std::string_view text);
/// RFC 8259, section 7, with its quotes; `text` is UTF-8.
void put_json_text(Output& out, std::string_view text);
/// Of XML 1.0, for content and attributes.
void put_xml_text(Output& out, std::string_view text);

} // namespace turnstone::exchange
