#include "protocol/nmea/sentence.hpp"

#include <algorithm>
#include <charconv>
#include <chrono>
#include <cmath>

namespace turnstone {
namespace {

bool are_digits(std::string_view text) noexcept {
    return !text.empty() && std::ranges::all_of(
                                text, [](char c) { return c >= '0' && c <= '9'; });
}

std::optional<int> whole_number(std::string_view text) noexcept {
    int value = 0;
    if (!are_digits(text)) return std::nullopt;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    return error == std::errc{} ? std::optional(value) : std::nullopt;
}

} // namespace

std::optional<double> decimal_number(std::string_view text) noexcept {
    const std::string_view digits = text.starts_with('-') || text.starts_with('+') ? text.substr(1) : text;
    const std::size_t point = digits.find('.');
    const std::string_view before = digits.substr(0, point);
    const std::string_view after = point == std::string_view::npos ? "" : digits.substr(point + 1);
    if ((before.empty() && after.empty()) || (!before.empty() && !are_digits(before)) ||
        (!after.empty() && !are_digits(after)))
        return std::nullopt;
    double value = 0;
    const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), value);
    if (error != std::errc{}) return std::nullopt;
    return text.starts_with('-') ? -value : value;
}

std::optional<NmeaSentence> split_sentence(std::string_view text) noexcept {
    if (text.empty()) return std::nullopt;
    text.remove_prefix(1);
    NmeaSentence out;
    const std::string_view address = text.substr(0, text.find(','));
    if (address.size() < 4) return std::nullopt;
    const std::size_t talker = address[0] == 'P' ? 1 : 2;
    out.talker = address.substr(0, talker);
    out.formatter = address.substr(talker);
    text.remove_prefix(address.size());
    while (!text.empty() && out.count < out.fields.size()) {
        text.remove_prefix(1); // the comma
        out.fields[out.count] = text.substr(0, text.find(','));
        text.remove_prefix(out.fields[out.count++].size());
    }
    return out;
}

double FieldReader::number(std::size_t k, double least, double greatest) noexcept {
    const std::string_view text = sentence_->field(k);
    if (text.empty()) return kNaN;
    const auto value = decimal_number(text);
    demand(value && *value >= least && *value <= greatest);
    return good_ ? *value : kNaN;
}

double FieldReader::time_of_day(std::size_t k) noexcept {
    const std::string_view text = sentence_->field(k);
    if (text.empty()) return kNaN;
    const auto hour = whole_number(text.substr(0, 2));
    const auto minute = text.size() > 4 ? whole_number(text.substr(2, 2)) : std::nullopt;
    const auto second = text.size() > 4 && text[4] != '-' ? decimal_number(text.substr(4)) : std::nullopt;
    demand(hour && *hour < 24 && minute && *minute < 60 && second && *second < 61);
    return good_ ? 3600.0 * *hour + 60.0 * *minute + *second : kNaN;
}

std::optional<std::int64_t> days_since_1970(int year, int month, int day) noexcept {
    if (year < 1900 || year > 2200) return std::nullopt;
    const std::chrono::year_month_day date{std::chrono::year{year}, std::chrono::month{static_cast<unsigned>(month)},
                                           std::chrono::day{static_cast<unsigned>(day)}};
    if (!date.ok()) return std::nullopt;
    return std::chrono::sys_days{date}.time_since_epoch().count();
}

std::optional<std::int64_t> FieldReader::date(std::size_t k) noexcept {
    const std::string_view text = sentence_->field(k);
    if (text.empty()) return std::nullopt;
    demand(text.size() == 6 && are_digits(text));
    if (!good_) return std::nullopt;
    const auto two = [&](std::size_t at) { return (text[at] - '0') * 10 + (text[at + 1] - '0'); };
    const int year = two(4) + (two(4) >= 80 ? 1900 : 2000);
    const auto days = days_since_1970(year, two(2), two(0));
    demand(days.has_value());
    return days;
}

std::optional<std::int64_t> FieldReader::date_apart(std::size_t k) noexcept {
    const std::string_view day = sentence_->field(k), month = sentence_->field(k + 1), year = sentence_->field(k + 2);
    if (day.empty() && month.empty() && year.empty()) return std::nullopt;
    const auto d = whole_number(day), m = whole_number(month), y = whole_number(year);
    demand(d && m && y && year.size() == 4);
    if (!good_) return std::nullopt;
    const auto days = days_since_1970(*y, *m, *d);
    demand(days.has_value());
    return days;
}

double FieldReader::angle(std::size_t k, std::size_t degree_digits, double greatest, char positive,
                          char negative) noexcept {
    const std::string_view text = sentence_->field(k);
    const char side = letter(k + 1);
    if (text.empty()) return kNaN;
    const std::size_t before = std::min(text.find('.'), text.size());
    // Some senders leave leading zeros of the degrees out.
    demand(before >= 3 && before <= degree_digits + 2 && (side == positive || side == negative));
    if (!good_) return kNaN;
    const auto degrees = whole_number(text.substr(0, before - 2));
    const auto minutes =
        text[before - 2] != '-' && text[before - 2] != '+' ? decimal_number(text.substr(before - 2)) : std::nullopt;
    demand(degrees && minutes && *minutes < 60);
    if (!good_) return kNaN;
    const double value = *degrees + *minutes / 60;
    demand(value <= greatest);
    return side == negative ? -value : value;
}

} // namespace turnstone
