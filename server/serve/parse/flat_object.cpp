#include "server/serve/parse/flat_object.hpp"

#include <nlohmann/json.hpp>

namespace turnstone {

using nlohmann::json;

std::optional<json> parse_flat_object(std::string_view text) {
    constexpr int kDepthMax = 4; // bounds what a hostile text can make the parser do
    bool too_deep = false;
    json object = json::parse(
        text,
        [&](int depth, json::parse_event_t, json&) {
            too_deep = too_deep || depth > kDepthMax;
            return !too_deep;
        },
        false);
    if (too_deep || !object.is_object()) return std::nullopt;
    return object;
}

std::optional<double> number_member(const json& object, const char* name, double min, double max) {
    const auto found = object.find(name);
    if (found == object.end() || !found->is_number()) return std::nullopt;
    const double value = found->get<double>();
    if (!(value >= min && value <= max)) return std::nullopt;
    return value;
}

} // namespace turnstone
