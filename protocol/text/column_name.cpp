#include "protocol/text/column_name.hpp"

#include <cctype>

namespace turnstone {
namespace {

/// Calls `put` with each character of the name.
template <class Put>
void spell(std::string_view title, Put put) {
    bool gap = false, any = false;
    for (const char c : title) {
        const auto letter = static_cast<unsigned char>(c);
        if (letter >= 0x80 || std::isalnum(letter) == 0) {
            gap = true;
            continue;
        }
        if (gap && any) put('_');
        if (!any && std::isdigit(letter) != 0) {
            put('c');
            put('_');
        }
        gap = false;
        any = true;
        put(static_cast<char>(std::tolower(letter)));
    }
}

} // namespace

std::string column_name(std::string_view title) {
    std::string out;
    spell(title, [&](char c) { out += c; });
    return out;
}

bool is_column_name(std::string_view title, std::string_view name) noexcept {
    std::size_t at = 0;
    bool same = true;
    spell(title, [&](char c) { same = same && at < name.size() && name[at] == c, ++at; });
    return same && at == name.size();
}

} // namespace turnstone
