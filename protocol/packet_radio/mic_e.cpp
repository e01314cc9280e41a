#include <array>
#include <cmath>
#include <optional>

#include "protocol/packet_radio/comment.hpp"
#include "protocol/packet_radio/digit_text.hpp"
#include "protocol/packet_radio/position_text.hpp"

namespace turnstone {
namespace {

/// One character of the destination: a digit of the latitude, or a blank, and a bit.
struct DestinationDigit {
    char digit;
    bool bit;          ///< north, a longitude from 100 degrees on, or west: of the last three
    bool is_for_first; ///< only among the first three
};

std::optional<DestinationDigit> digit_of(char c) noexcept {
    if (c >= '0' && c <= '9') return DestinationDigit{c, false, false};
    if (c >= 'A' && c <= 'J') return DestinationDigit{static_cast<char>(c - 'A' + '0'), true, true};
    if (c >= 'P' && c <= 'Y') return DestinationDigit{static_cast<char>(c - 'P' + '0'), true, false};
    if (c == 'K') return DestinationDigit{' ', true, true};
    if (c == 'L') return DestinationDigit{' ', false, false};
    if (c == 'Z') return DestinationDigit{' ', true, false};
    return std::nullopt;
}

/// The height in the text: three digits of base 91 and a brace, first or behind one character that tells the sender's
/// kind. Metres above a datum 10 km below mean sea level.
double height_in_text_m(std::string_view text) noexcept {
    constexpr std::string_view kKinds = ">]`' ";
    constexpr double kDatum_m = -10'000;
    for (std::size_t at = 0; at < 2 && at + 4 <= text.size(); ++at) {
        if (at == 1 && kKinds.find(text[0]) == std::string_view::npos) break;
        const std::string_view digits = text.substr(at, 3);
        if (text[at + 3] == '}' && are_base91(digits)) return kDatum_m + base91(digits);
    }
    return kNaN;
}

} // namespace

ReportFault take_mic_e(std::string_view& text, std::string_view destination, Report& report) noexcept {
    constexpr std::size_t kSize = 8, kDigits = 6;
    constexpr int kOffset = 28;
    ReportPosition& out = report.position;
    if (destination.size() != kDigits) return ReportFault::destination;
    if (text.size() < kSize) return ReportFault::cut_short;
    std::array<char, kDigits> digits{};
    std::array<bool, kDigits> bits{};
    for (std::size_t k = 0; k < kDigits; ++k) {
        const auto digit = digit_of(destination[k]);
        if (!digit || (k >= kDigits / 2 && digit->is_for_first)) return ReportFault::destination;
        digits[k] = digit->digit;
        bits[k] = digit->bit;
    }
    const std::string_view latitude(digits.data(), kDigits);
    out.ambiguity = blanks_at_end(latitude);
    double degrees = 0;
    if (out.ambiguity > kAmbiguityMost || !angle_of_digits(latitude, out.ambiguity, degrees, out.step_deg) ||
        degrees > 90)
        return ReportFault::destination;
    const bool is_north = bits[3], is_hundred = bits[4], is_west = bits[5];
    const auto octet = [&](std::size_t k) { return static_cast<int>(static_cast<unsigned char>(text[k])) - kOffset; };

    int east = octet(0) + (is_hundred ? 100 : 0);
    if (east >= 180 && east <= 189) east -= 80;
    if (east >= 190 && east <= 199) east -= 190;
    const int minutes = octet(1) >= 60 ? octet(1) - 60 : octet(1), hundredths = octet(2);
    if (octet(0) < 10 || east > 179 || octet(1) < 10 || octet(1) > 69 || hundredths < 0 || hundredths > 99)
        return ReportFault::longitude;
    std::array<char, kDigits> across{};
    const std::array<int, 3> pairs{east % 100, minutes, hundredths};
    for (std::size_t k = 0; k < pairs.size(); ++k) {
        across[2 * k] = static_cast<char>('0' + pairs[k] / 10);
        across[2 * k + 1] = static_cast<char>('0' + pairs[k] % 10);
    }
    double across_deg = 0, step_deg = 0;
    if (!angle_of_digits({across.data(), kDigits}, out.ambiguity, across_deg, step_deg)) return ReportFault::longitude;
    across_deg += east - east % 100;

    constexpr int kTens = 10, kSpeedMost = 800, kCourseMost = 400;
    const int sp = octet(3), dc = octet(4), se = octet(5);
    if (sp < 0 || sp > 99 || dc < 0 || dc > 99 || se < 0 || se > 99) return ReportFault::motion;
    int speed = sp * kTens + dc / kTens, course = dc % kTens * 100 + se;
    if (speed >= kSpeedMost) speed -= kSpeedMost;
    if (course >= kCourseMost) course -= kCourseMost;
    if (course > 360) return ReportFault::motion;

    out.format = PositionFormat::mic_e;
    out.latitude_deg = is_north ? degrees : -degrees;
    out.longitude_deg = is_west ? -across_deg : across_deg;
    out.speed_mps = speed * kKnot_mps;
    out.course_deg = course == 0 ? kNaN : course % 360;
    out.speed_step_mps = kKnot_mps;
    out.course_step_deg = 1;
    out.symbol = {text[7], text[6]};
    text.remove_prefix(kSize);
    out.height_msl_m = height_in_text_m(text);
    read_comment(text, report);
    return ReportFault::none;
}

} // namespace turnstone
