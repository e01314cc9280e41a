#include "server/serve/parse/query.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

#include <fmt/format.h>

namespace turnstone {
namespace {

int hex_digit(char c) {
    if (c >= '0' && c <= '9') return c - '0';
    if (c >= 'a' && c <= 'f') return c - 'a' + 10;
    if (c >= 'A' && c <= 'F') return c - 'A' + 10;
    return -1;
}

std::optional<std::string> percent_decoded(std::string_view text, bool plus_is_space) {
    std::string out;
    out.reserve(text.size());
    for (std::size_t i = 0; i < text.size(); ++i) {
        if (text[i] == '%') {
            const int high = i + 2 < text.size() ? hex_digit(text[i + 1]) : -1;
            const int low = i + 2 < text.size() ? hex_digit(text[i + 2]) : -1;
            if (high < 0 || low < 0) return std::nullopt;
            out.push_back(static_cast<char>(high * 16 + low));
            i += 2;
        } else {
            out.push_back(plus_is_space && text[i] == '+' ? ' ' : text[i]);
        }
        if (static_cast<unsigned char>(out.back()) < 0x20 || out.back() == 0x7f) return std::nullopt;
    }
    return out;
}

/// A wrong value as messages show it: short, printable.
std::string shown(std::string_view text) {
    std::string out(text.substr(0, 40));
    std::replace_if(
        out.begin(), out.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == '\''; }, '?');
    return out;
}

template <class T>
Result<std::optional<T>> parsed(const Target& target, std::string_view name, T min, T max, std::string_view kind) {
    const auto found = target.query.find(name);
    if (found == target.query.end()) return std::nullopt;
    const std::string& text = found->second;
    T value{};
    const auto [end, code] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (code != std::errc{} || end != text.data() + text.size() || !(value >= min && value <= max))
        return fail(
            fmt::format("parameter '{}' is '{}'; it must be {} from {} to {}", name, shown(text), kind, min, max));
    return value;
}

} // namespace

Result<Target> parse_target(std::string_view text) {
    if (text.empty() || text.front() != '/') return fail("the request's target must be a path that begins with '/'");
    Target target;
    const std::size_t question = text.find('?');
    const std::string_view path = text.substr(0, question);
    target.path = path;
    for (std::size_t at = 1; at < path.size();) {
        const std::size_t slash = std::min(path.find('/', at), path.size());
        auto segment = percent_decoded(path.substr(at, slash - at), false);
        if (!segment)
            return fail("the path has a '%' that two hexadecimal digits do not follow, or a control character");
        target.segments.push_back(std::move(*segment));
        at = slash + 1;
    }
    if (question == std::string_view::npos) return target;
    const std::string_view query = text.substr(question + 1);
    for (std::size_t at = 0; at < query.size();) {
        const std::size_t ampersand = std::min(query.find('&', at), query.size());
        const std::string_view pair = query.substr(at, ampersand - at);
        at = ampersand + 1;
        if (pair.empty()) continue;
        const std::size_t equals = std::min(pair.find('='), pair.size());
        auto name = percent_decoded(pair.substr(0, equals), true);
        auto value = percent_decoded(pair.substr(std::min(equals + 1, pair.size())), true);
        if (!name || !value)
            return fail("the query has a '%' that two hexadecimal digits do not follow, or a control character");
        if (!target.query.emplace(*name, std::move(*value)).second)
            return fail(fmt::format("parameter '{}' is given twice", shown(*name)));
    }
    return target;
}

Result<void> allow_parameters(const Target& target, std::initializer_list<std::string_view> names) {
    for (const auto& [name, value] : target.query) {
        if (std::find(names.begin(), names.end(), name) == names.end())
            return fail(fmt::format("unknown parameter '{}'; this request takes {}", shown(name),
                                    names.size() == 0 ? "none" : fmt::format("{}", fmt::join(names, ", "))));
    }
    return {};
}

Result<std::optional<double>> number_parameter(const Target& target, std::string_view name, double min, double max) {
    return parsed<double>(target, name, min, max, "a number");
}

Result<std::optional<std::int64_t>> integer_parameter(const Target& target, std::string_view name, std::int64_t min,
                                                      std::int64_t max) {
    return parsed<std::int64_t>(target, name, min, max, "a whole number");
}

std::optional<std::string> text_parameter(const Target& target, std::string_view name) {
    const auto found = target.query.find(name);
    if (found == target.query.end()) return std::nullopt;
    return found->second;
}

} // namespace turnstone
