#include "protocol/packet_radio/comment.hpp"

#include <algorithm>
#include <cmath>

#include "protocol/packet_radio/digit_text.hpp"

namespace turnstone {
namespace {

/// NaN: none.
double height_in_comment_m(std::string_view comment) noexcept {
    constexpr std::string_view kMark = "/A=";
    constexpr std::size_t kDigits = 6;
    for (std::size_t at = comment.find(kMark); at != std::string_view::npos; at = comment.find(kMark, at + 1)) {
        std::string_view digits = comment.substr(at + kMark.size());
        if (digits.size() < kDigits) return kNaN;
        digits = digits.substr(0, kDigits);
        const bool below = digits[0] == '-'; // below the sea (common practice, no source)
        if (below) digits.remove_prefix(1);
        if (are_digits(digits)) return (below ? -1 : 1) * number_of(digits) * kFoot_m;
    }
    return kNaN;
}

void add_finer_digits(std::string_view comment, ReportPosition& position) noexcept {
    constexpr std::size_t kSize = 5;
    constexpr double kHundredth_deg = 0.01 / 60, kDigits = 10;
    const bool has_hundredths =
        position.format == PositionFormat::uncompressed || position.format == PositionFormat::mic_e;
    if (!has_hundredths || position.ambiguity > 0) return;
    for (std::size_t at = 0; at + kSize <= comment.size(); ++at) {
        const std::string_view mark = comment.substr(at, kSize);
        const char north = mark[2], east = mark[3];
        const bool is_decimal = mark[1] == 'W' && is_digit(north) && is_digit(east);
        const bool is_base = mark[1] == 'w' && is_base91(north) && is_base91(east);
        if (mark.front() != '!' || mark.back() != '!' || (!is_decimal && !is_base)) continue;
        const double step_deg = kHundredth_deg / (is_decimal ? kDigits : kBase91);
        const auto finer_deg = [&](double degrees, char digit) {
            const unsigned steps = is_decimal ? static_cast<unsigned>(digit - '0') : base91(digit);
            return std::copysign(std::abs(degrees) + steps * step_deg, degrees);
        };
        const double latitude_deg = finer_deg(position.latitude_deg, north);
        const double longitude_deg = finer_deg(position.longitude_deg, east);
        if (std::abs(latitude_deg) > 90 || std::abs(longitude_deg) > 180) return;
        position.latitude_deg = latitude_deg;
        position.longitude_deg = longitude_deg;
        position.step_deg = step_deg;
        return;
    }
}

void take_comment_telemetry(std::string_view comment, ReportTelemetry& out) noexcept {
    constexpr std::size_t kPair = 2, kLeast = 2 * kPair, kMost = (kAnalogCount + 2) * kPair;
    for (std::size_t at = comment.find('|'); at != std::string_view::npos; at = comment.find('|', at + 1)) {
        std::string_view pairs = comment.substr(at + 1);
        const std::size_t size = pairs.find('|');
        if (size == std::string_view::npos) return;
        pairs = pairs.substr(0, size);
        if (size < kLeast || size > kMost || size % kPair != 0 || !are_base91(pairs)) continue;
        const auto number = [&](std::size_t k) { return base91(pairs.substr(k * kPair, kPair)); };
        out.sequence = number(0);
        const std::size_t analog = std::min(size / kPair - 1, kAnalogCount);
        for (std::size_t k = 0; k < analog; ++k) out.analog[k] = number(k + 1);
        if (size == kMost)
            for (std::size_t k = 0; k < kBitCount; ++k) out.bits[k] = number(kAnalogCount + 1) >> k & 1U;
        return;
    }
}

} // namespace

void read_comment(std::string_view comment, Report& out) noexcept {
    if (const double height_m = height_in_comment_m(comment); std::isfinite(height_m))
        out.position.height_msl_m = height_m;
    add_finer_digits(comment, out.position);
    take_comment_telemetry(comment, out.telemetry);
}

} // namespace turnstone
