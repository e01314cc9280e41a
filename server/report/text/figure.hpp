#pragma once
/// Figures as people read them, in one way everywhere: rounded to their ±, with a minus sign that is one, in the units
/// people use.
#include <cstdint>
#include <string>
#include <string_view>

namespace turnstone {

/// Stands where there is no value.
inline constexpr std::string_view kNoFigure = "–";

/// With a fixed number of decimals.
[[nodiscard]] std::string fixed(double value, int decimals);
/// "393 to 431", or "6" where both round alike.
[[nodiscard]] std::string from_to(double low, double high, int decimals);
/// One with a sign that always stands.
[[nodiscard]] std::string with_sign(double value, int decimals);

/// "1107 ± 2": no digit that the ± denies. One significant digit of it, and never more decimals than `most`; a value
/// without a sigma has `most`.
[[nodiscard]] std::string rounded(double value, double sigma, int most);
/// The same with a sign before the value, unless it is zero as rounded.
[[nodiscard]] std::string rounded_with_sign(double value, double sigma, int most);

/// A value with `digits` significant digits, where nothing says how well it is known.
[[nodiscard]] std::string significant(double value, int digits);

/// Values travel in SI with UCUM spelling; people read them in the unit they know, printed as the SI Brochure has it.
struct ShownUnit {
    std::string symbol; ///< "m/s²"; empty when dimensionless
    double gain = 1;    ///< shown = value * gain + offset
    double offset = 0;

    [[nodiscard]] double shown(double value) const { return value * gain + offset; }
};

[[nodiscard]] ShownUnit shown_unit(std::string_view ucum);
/// Of a value of that size, so that 18.6 ms do not read 0.0186 s and 3.0 kPa not 30 hPa.
[[nodiscard]] ShownUnit shown_unit_near(std::string_view ucum, double value);
/// Decimals that suit the shown unit: a pascal column of 0 decimals is a hectopascal one of 2.
[[nodiscard]] int shown_decimals(const ShownUnit& unit, int decimals);

/// "1107 ± 2 m", with spaces that do not break.
[[nodiscard]] std::string quantity(double value, double sigma, int most, std::string_view ucum);

/// The same in the unit that suits its size: "18.6 ± 0.5 ms".
[[nodiscard]] std::string quantity_near(double value, double sigma, int most, std::string_view ucum);

/// "2 min 05 s", "42 s".
[[nodiscard]] std::string duration_text(double seconds);
/// "T+0:12.3", "T−1:02:03.0".
[[nodiscard]] std::string flight_clock(double seconds, int decimals = 1);
/// "14:32:05 UTC", "2026-05-17".
[[nodiscard]] std::string utc_time(std::int64_t utc_ns);
[[nodiscard]] std::string utc_date(std::int64_t utc_ns);
/// With decimal prefixes (IEC 80000-13).
[[nodiscard]] std::string size_text(double bytes);
/// Three digits, as a compass bearing is read out: "007°".
[[nodiscard]] std::string bearing_text(double degrees);
/// "0.4 %"; never rounds a risk away: "less than 0.1 %".
[[nodiscard]] std::string fraction_text(double fraction);

/// The first letter large, as a word stands by itself.
[[nodiscard]] std::string capital(std::string text);

} // namespace turnstone
