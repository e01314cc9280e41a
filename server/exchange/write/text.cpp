#include "server/exchange/write/text.hpp"

#include <algorithm>
#include <charconv>
#include <chrono>
#include <cmath>
#include <cstring>

#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

/// `digits` decimal digits of `value`.
char* put_digits(char* at, std::uint64_t value, int digits) noexcept {
    for (int i = digits; i-- > 0; value /= 10) at[i] = static_cast<char>('0' + value % 10);
    return at + digits;
}

constexpr std::int64_t floor_seconds(std::int64_t ns) noexcept {
    return ns / kNsPerS - (ns % kNsPerS < 0 ? 1 : 0);
}

} // namespace

char* put_number(char* at, double value) noexcept {
    const double size = std::abs(value);
    if (size == 0) return std::ranges::copy(std::string_view(std::signbit(value) ? "-0.0" : "0"), at).out;
    const bool plain = size >= 1e-4 && size < 1e16;
    return std::to_chars(at, at + kNumberRoom, value, plain ? std::chars_format::fixed : std::chars_format::scientific)
        .ptr;
}

char* put_seconds(char* at, std::int64_t ns) noexcept {
    const std::uint64_t size = ns < 0 ? 0 - static_cast<std::uint64_t>(ns) : static_cast<std::uint64_t>(ns);
    if (ns < 0) *at++ = '-';
    at = std::to_chars(at, at + kNumberRoom, size / kNsPerS).ptr;
    if (size % kNsPerS == 0) return at;
    *at++ = '.';
    at = put_digits(at, size % kNsPerS, 9);
    while (at[-1] == '0') --at;
    return at;
}

char* UtcText::put(char* at, std::int64_t utc_ns) noexcept {
    const std::int64_t second = floor_seconds(utc_ns);
    if (second != second_) {
        using namespace std::chrono;
        second_ = second;
        const sys_seconds time{seconds(second)};
        const auto day = floor<days>(time);
        const year_month_day date(day);
        const auto of_day = static_cast<std::uint64_t>((time - day).count());
        char* to = put_digits(text_.data(), static_cast<std::uint64_t>(std::clamp(int{date.year()}, 0, 9999)), 4);
        *to++ = '-';
        to = put_digits(to, unsigned{date.month()}, 2);
        *to++ = '-';
        to = put_digits(to, unsigned{date.day()}, 2);
        *to++ = 'T';
        to = put_digits(to, of_day / 3600, 2);
        *to++ = ':';
        to = put_digits(to, of_day / 60 % 60, 2);
        *to++ = ':';
        to = put_digits(to, of_day % 60, 2);
        *to++ = '.';
        to[9] = 'Z';
    }
    put_digits(text_.data() + 20, static_cast<std::uint64_t>(utc_ns - second * kNsPerS), 9);
    std::memcpy(at, text_.data(), text_.size());
    return at + text_.size();
}

std::string utc_text(std::int64_t utc_ns) {
    std::array<char, kUtcCharacters> text{};
    UtcText utc;
    return {text.data(), utc.put(text.data(), utc_ns)};
}

void put_csv_cell(Output& out, std::string_view text) {
    if (text.find_first_of(",\"\r\n") == std::string_view::npos) {
        out.put(text);
        return;
    }
    out.put("\"");
    for (std::size_t quote = text.find('"'); quote != std::string_view::npos; quote = text.find('"')) {
        out.put(text.substr(0, quote + 1));
        out.put("\"");
        text.remove_prefix(quote + 1);
    }
    out.put(text);
    out.put("\"");
}

void put_json_text(Output& out, std::string_view text) {
    constexpr std::string_view kHex = "0123456789abcdef";
    out.put("\"");
    for (const char c : text) {
        const auto code = static_cast<unsigned char>(c);
        char* at = out.room(6);
        if (c == '"' || c == '\\') {
            *at++ = '\\';
            *at++ = c;
        } else if (code < 0x20) {
            for (const char each : {'\\', 'u', '0', '0', kHex[code >> 4U], kHex[code & 15U]}) *at++ = each;
        } else {
            *at++ = c;
        }
        out.used(at);
    }
    out.put("\"");
}

void put_xml_text(Output& out, std::string_view text) {
    for (const char c : text) {
        const auto code = static_cast<unsigned char>(c);
        if (c == '&')
            out.put("&amp;");
        else if (c == '<')
            out.put("&lt;");
        else if (c == '>')
            out.put("&gt;");
        else if (c == '"')
            out.put("&quot;");
        else if (code >= 0x20 || c == '\t' || c == '\n') // XML 1.0 has no other control characters
            out.put(std::string_view(&c, 1));
    }
}

} // namespace turnstone::exchange
