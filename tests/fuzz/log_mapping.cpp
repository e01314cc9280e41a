// Fuzz target: a log.json, and a log whose columns it may name. Whatever they hold, the readers answer with a mapping
// or with mistakes; what was taken is written and read the same.
#include <cstdint>
#include <cstdlib>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/exchange/import/first_look.hpp"
#include "server/exchange/import/log/log_mapping.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace turnstone;
    const std::string_view text(reinterpret_cast<const char*>(data), size); // NOLINT(*-reinterpret-cast)
    const exchange::FirstLook look = exchange::look_at_log(std::as_bytes(std::span(text)));
    for (const auto& column : look.columns)
        if (column.first.empty()) std::abort();
    std::vector<std::string> names;
    for (const auto& column : look.columns) names.push_back(column.name);
    if (exchange::proposed_mapping(names, look.separator, Dictionary()).columns.size() > names.size()) std::abort();

    std::vector<Problem> problems;
    const auto json = parse_json_text(text, "log.json", problems);
    if (!json) return 0;
    const auto mapping = exchange::read_log_mapping(*json, "log.json", problems);
    if (mapping.has_value() != problems.empty()) std::abort();
    if (!mapping) return 0;
    const auto again = exchange::read_log_mapping(exchange::to_json(*mapping), "log.json", problems);
    if (!again || exchange::to_json(*again) != exchange::to_json(*mapping)) std::abort();
    return 0;
}
