#include "protocol/lines/line_values.hpp"

#include <algorithm>
#include <charconv>
#include <cstdint>

#include "protocol/text/digits.hpp"

namespace turnstone {
namespace {

/// More than any double has.
constexpr long kGreatExponent = 1'000'000;

std::string_view without_blanks(std::string_view text) noexcept {
    const std::size_t begin = text.find_first_not_of(' ');
    return begin == std::string_view::npos ? "" : text.substr(begin, text.find_last_not_of(' ') - begin + 1);
}

std::string_view without_sign(std::string_view text) noexcept {
    return text.starts_with('-') || text.starts_with('+') ? text.substr(1) : text;
}

bool is_word(std::string_view text, std::string_view word) noexcept {
    return std::ranges::equal(
        text, word, [](char a, char b) { return (a >= 'A' && a <= 'Z' ? a - 'A' + 'a' : a) == b; });
}

} // namespace

bool LineValues::split(std::span<const std::byte> line, char separator) noexcept {
    const std::string_view text(reinterpret_cast<const char*>(line.data()), line.size());
    count_ = 0;
    std::size_t used = 0;
    for (std::size_t at = 0;;) {
        if (count_ == values_.size()) return false;
        if (at < text.size() && text[at] == '"') {
            const std::size_t from = used;
            for (++at;; ++at) {
                if (at >= text.size() || used == unquoted_.size()) return false;
                if (text[at] == '"' && (at + 1 >= text.size() || text[at + 1] != '"')) break;
                at += text[at] == '"' ? 1 : 0;
                unquoted_[used++] = text[at];
            }
            values_[count_++] = {unquoted_.data() + from, used - from};
            ++at;
            if (at < text.size() && text[at] != separator) return false;
        } else {
            const std::size_t end = std::min(text.find(separator, at), text.size());
            const std::string_view value = text.substr(at, end - at);
            if (value.find('"') != std::string_view::npos) return false;
            values_[count_++] = value;
            at = end;
        }
        if (at >= text.size()) return true;
        ++at;
    }
}

std::optional<LineNumber> line_number(std::string_view given, char decimal) noexcept {
    const std::string_view text = without_blanks(given);
    if (text.empty()) return LineNumber{};
    const std::string_view plain = without_sign(text);
    for (const std::string_view none : {"nan", "inf", "infinity"})
        if (is_word(plain, none)) return LineNumber{};
    const auto digits_from = [&](std::size_t at) {
        return static_cast<std::size_t>(
            std::find_if_not(plain.begin() + static_cast<std::ptrdiff_t>(at), plain.end(), is_digit) - plain.begin());
    };
    const std::size_t point = digits_from(0);
    const bool has_point = point < plain.size() && plain[point] == decimal;
    const std::size_t end = has_point ? digits_from(point + 1) : point;
    if (end == (has_point ? 1 : 0)) return std::nullopt;
    long exponent = 0;
    if (end < plain.size()) {
        const std::string_view rest = plain.substr(end);
        const std::string_view digits = without_sign(rest.substr(1));
        if ((rest[0] != 'e' && rest[0] != 'E') || digits.empty() || !std::ranges::all_of(digits, is_digit))
            return std::nullopt;
        if (std::from_chars(digits.data(), digits.data() + digits.size(), exponent).ec != std::errc{})
            exponent = kGreatExponent;
        if (rest[1] == '-') exponent = -exponent;
    }
    // from_chars takes a point only.
    std::array<char, 1024> with_point{};
    std::string_view number = plain;
    if (has_point && decimal != '.') {
        if (plain.size() > with_point.size()) return std::nullopt;
        std::ranges::copy(plain, with_point.begin());
        with_point[point] = '.';
        number = {with_point.data(), plain.size()};
    }
    double value = 0;
    if (std::from_chars(number.data(), number.data() + number.size(), value).ec == std::errc::result_out_of_range) {
        // Too small is none; too great is more than a column holds.
        const std::size_t first = plain.find_first_of("123456789");
        const long before_point = static_cast<long>(point) - static_cast<long>(first);
        if (before_point + exponent > 0) return std::nullopt;
        value = 0;
    }
    return LineNumber{text.starts_with('-') ? -value : value};
}

std::optional<LineNumber> line_integer(std::string_view given) noexcept {
    const std::string_view text = without_blanks(given);
    if (text.empty()) return LineNumber{};
    const std::string_view plain = without_sign(text);
    if (plain.empty() || !std::ranges::all_of(plain, is_digit)) return std::nullopt;
    std::uint64_t value = 0;
    const auto [end, error] = std::from_chars(plain.data(), plain.data() + plain.size(), value);
    if (error != std::errc{}) return std::nullopt;
    const bool is_negative = text.starts_with('-');
    if (is_negative && value > std::uint64_t{1} << 63U) return std::nullopt;
    return LineNumber{is_negative ? -static_cast<double>(value) : static_cast<double>(value)};
}

} // namespace turnstone
