#include "protocol/dictionary/time_reading.hpp"

#include <charconv>
#include <chrono>
#include <string_view>

#include "protocol/packet/leap_seconds.hpp"
#include "shared/time.hpp"

namespace turnstone {
namespace {

constexpr std::int64_t kNsPerDay = kSecondsPerDay * kNsPerS;
constexpr std::int64_t kEpoch1958_ns = kTaiEpochDays * kNsPerDay;
constexpr int kYearLeast = 1958;
constexpr int kYearGreatest = 2200;
constexpr std::int64_t kFineHzMax = 1'000'000'000;

std::optional<int> digits(std::string_view text) {
    int value = 0;
    for (const char c : text) {
        if (c < '0' || c > '9') return std::nullopt;
        value = 10 * value + (c - '0');
    }
    return value;
}

/// "2000-01-01T11:58:55.816Z" (RFC 3339, UTC), up to nine digits of fraction.
std::optional<std::int64_t> parse_utc_ns(std::string_view text) {
    constexpr std::string_view kShape = "0000-00-00T00:00:00";
    if (text.size() < kShape.size() + 1 || text.back() != 'Z') return std::nullopt;
    for (std::size_t i = 0; i < kShape.size(); ++i)
        if (kShape[i] != '0' && text[i] != kShape[i]) return std::nullopt;
    const auto part = [&](std::size_t at, std::size_t size) { return digits(text.substr(at, size)); };
    const auto year = part(0, 4), month = part(5, 2), day = part(8, 2);
    const auto hour = part(11, 2), minute = part(14, 2), second = part(17, 2);
    if (!year || !month || !day || !hour || !minute || !second) return std::nullopt;
    const std::chrono::year_month_day date{std::chrono::year{*year}, std::chrono::month{static_cast<unsigned>(*month)},
                                           std::chrono::day{static_cast<unsigned>(*day)}};
    if (!date.ok() || *year < kYearLeast || *year > kYearGreatest || *hour > 23 || *minute > 59 || *second > 59)
        return std::nullopt;
    std::string_view fraction = text.substr(kShape.size(), text.size() - kShape.size() - 1);
    std::int64_t ns = 0;
    if (!fraction.empty()) {
        if (fraction.front() != '.' || fraction.size() < 2 || fraction.size() > 10) return std::nullopt;
        fraction.remove_prefix(1);
        const auto value = digits(fraction);
        if (!value) return std::nullopt;
        ns = *value;
        for (std::size_t i = fraction.size(); i < 9; ++i) ns *= 10;
    }
    const std::int64_t days = std::chrono::sys_days{date}.time_since_epoch().count();
    return days * kNsPerDay + ((*hour * 60 + *minute) * 60 + *second) * kNsPerS + ns;
}

void read_epoch(JsonReader& time, TimeCode& code) {
    if (!time.has("epoch")) {
        time.ignore("epoch");
        return;
    }
    const std::string text = time.text("epoch");
    if (text.empty()) return;
    code.epoch_utc_ns = parse_utc_ns(text);
    if (!code.epoch_utc_ns)
        time.problem_at("epoch", "\"" + text + "\" is not a time in UTC",
                        R"(must be spelled as "1980-01-06T00:00:00Z", from 1958 to 2200)");
    else if (code.kind == TimeCode::Kind::cds && *code.epoch_utc_ns % kNsPerDay != 0)
        time.problem_at("epoch", "is not the beginning of a day", "must be 00:00:00Z: the code counts days");
    else if (code.scale == TimeScale::tai && *code.epoch_utc_ns != kEpoch1958_ns &&
             *code.epoch_utc_ns < 2 * 365 * kNsPerDay)
        time.problem_at("epoch", "is before 1972, when UTC and TAI were not whole seconds apart",
                        R"(must be 1958-01-01T00:00:00Z or later than 1971, or have "scale": "utc")");
}

void read_p_field(JsonReader& time, TimeCode& code) {
    const bool is_cuc = code.kind == TimeCode::Kind::cuc;
    const bool needs_two = is_cuc && (code.coarse_bytes > 4 || code.fine_bytes > 3);
    code.p_field_bytes = static_cast<unsigned>(time.integer_or("p_field_octets", 0, is_cuc ? 2 : 1, 0));
    if (code.p_field_bytes == 1 && needs_two)
        time.problem_at("p_field_octets", "is 1, which cannot say that a code has more than 4 + 3 octets",
                        "must be 2, or 0 when the P-field is not sent");
}

} // namespace

TimeCode read_time_code(JsonReader& time) {
    TimeCode code;
    const auto octets = [&](std::string_view key, std::int64_t least, std::int64_t most) {
        return static_cast<unsigned>(time.integer(key, least, most));
    };
    const std::size_t format = time.choice("format", {"u32_ms", "counter", "cuc", "cds", "ccs"});
    if (format == 1) {
        code.coarse_bytes = static_cast<unsigned>(time.integer_or("coarse_octets", 0, 7, 0));
        code.fine_bytes = static_cast<unsigned>(time.integer_or("fine_octets", 0, 8, 0));
        code.fine_hz = static_cast<std::uint64_t>(time.integer_or("fine_hz", 1, kFineHzMax, 1));
        code.is_little = time.choice_or("byte_order", {"big", "little"}, 0) == 1;
        if (code.coarse_bytes + code.fine_bytes == 0)
            time.problem("has no octets", R"(must have "coarse_octets", "fine_octets" or both)");
        if (code.fine_bytes > 0 && !time.has("fine_hz"))
            time.problem_at("fine_hz", "is missing", "must be how often a second the fine part counts, such as 1000");
    } else if (format == 2) {
        code.kind = TimeCode::Kind::cuc;
        code.coarse_bytes = octets("coarse_octets", 1, 7);
        code.fine_bytes = octets("fine_octets", 0, 10);
    } else if (format == 3) {
        code.kind = TimeCode::Kind::cds;
        code.scale = TimeScale::utc;
        code.epoch_utc_ns = kEpoch1958_ns;
        code.day_bytes = octets("day_octets", 2, 3);
        code.submillisecond_bytes = octets("submillisecond_octets", 0, 4);
        if (code.submillisecond_bytes % 2 != 0)
            time.problem_at("submillisecond_octets", "is " + std::to_string(code.submillisecond_bytes),
                            "must be 0, 2 (microseconds) or 4 (picoseconds)");
    } else if (format == 4) {
        code.kind = TimeCode::Kind::ccs;
        code.scale = TimeScale::utc;
        code.epoch_utc_ns = kEpoch1958_ns;
        code.is_day_of_year = time.choice("calendar", {"month_day", "day_of_year"}) == 1;
        code.fraction_bytes = octets("fraction_octets", 0, 6);
    }
    if (format >= 2) read_p_field(time, code);
    if (format >= 1) {
        code.scale = time.choice_or("scale", {"tai", "utc"}, code.scale == TimeScale::utc ? 1 : 0) == 1
                         ? TimeScale::utc
                         : TimeScale::tai;
        if (format != 4) read_epoch(time, code);
    }
    time.finish();
    return code;
}

} // namespace turnstone
