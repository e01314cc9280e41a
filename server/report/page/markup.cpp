#include "server/report/page/markup.hpp"

#include <span>

#include <fmt/format.h>

#include "protocol/text/utf8.hpp"

namespace turnstone::report {

namespace {

constexpr std::string_view kReplacement = "\xEF\xBF\xBD";

/// U+202A to U+202E and U+2066 to U+2069: they turn around what stands behind them, a table's next cell too.
bool turns_direction(std::string_view at) {
    if (at.size() < 3 || at[0] != '\xE2') return false;
    const auto second = static_cast<unsigned char>(at[1]);
    const auto third = static_cast<unsigned char>(at[2]);
    return (second == 0x80 && third >= 0xAA && third <= 0xAE) || (second == 0x81 && third >= 0xA6 && third <= 0xA9);
}

void append_escaped(std::string& out, std::string_view valid) {
    for (std::size_t i = 0; i < valid.size(); ++i) {
        const char c = valid[i];
        switch (c) {
        case '&': out += "&amp;"; break;
        case '<': out += "&lt;"; break;
        case '>': out += "&gt;"; break;
        case '"': out += "&quot;"; break;
        case '\'': out += "&#39;"; break;
        case '\n':
        case '\t': out += c; break;
        default:
            if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) {
                out += kReplacement;
            } else if (turns_direction(valid.substr(i))) {
                out += kReplacement;
                i += 2;
            } else {
                out += c;
            }
        }
    }
}

} // namespace

Markup Markup::text(std::string_view text) {
    std::string valid(3 * text.size(), '\0');
    valid.resize(to_valid_utf8(std::as_bytes(std::span(text)), valid.data()));
    Markup markup;
    markup.html_.reserve(valid.size());
    append_escaped(markup.html_, valid);
    return markup;
}

Markup Markup::of_numbers(std::string html) {
    Markup markup;
    markup.html_ = std::move(html);
    return markup;
}

Markup element(Literal name, const Markup& content) {
    const std::string_view whole = name.view();
    const std::string_view tag = whole.substr(0, whole.find('.'));
    const std::string_view kind = tag.size() < whole.size() ? whole.substr(tag.size() + 1) : "";
    return Markup::of_numbers(kind.empty() ? fmt::format("<{0}>{1}</{0}>", tag, content.html())
                                           : fmt::format("<{0} class=\"{2}\">{1}</{0}>", tag, content.html(), kind));
}

Markup element(Literal name, std::string_view text) {
    return element(name, Markup::text(text));
}

Markup joined(std::initializer_list<Markup> parts) {
    Markup all;
    for (const Markup& part : parts) all += part;
    return all;
}

} // namespace turnstone::report
