#include "server/serve/parse/flat_object.hpp"

#include <algorithm>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace turnstone {

using nlohmann::json;

std::optional<json> parse_object(std::string_view text, int depth_max) {
    bool too_deep = false; // what a hostile text can make the parser do is bounded
    json object = json::parse(
        text,
        [&](int depth, json::parse_event_t, json&) {
            too_deep = too_deep || depth > depth_max;
            return !too_deep;
        },
        false);
    if (too_deep || !object.is_object()) return std::nullopt;
    return object;
}

std::optional<json> parse_flat_object(std::string_view text) {
    constexpr int kDepthMax = 4;
    return parse_object(text, kDepthMax);
}

std::optional<double> number_member(const json& object, const char* name, double min, double max) {
    const auto found = object.find(name);
    if (found == object.end() || !found->is_number()) return std::nullopt;
    const double value = found->get<double>();
    if (!(value >= min && value <= max)) return std::nullopt;
    return value;
}

Result<nlohmann::json> object_with(std::string_view body, std::initializer_list<std::string_view> names) {
    auto object = parse_flat_object(body);
    if (!object) return fail("the request's body must be one flat JSON object");
    for (const auto& [name, value] : object->items())
        if (std::find(names.begin(), names.end(), name) == names.end())
            return fail(fmt::format("unknown member '{}' in the request's body; it may have {}", name.substr(0, 40),
                                    fmt::join(names, ", ")));
    return std::move(*object);
}

Result<std::optional<std::string>> text_member(const nlohmann::json& object, const char* name, std::size_t bytes_max) {
    const auto found = object.find(name);
    if (found == object.end()) return std::nullopt;
    if (!found->is_string() || found->get_ref<const std::string&>().size() > bytes_max)
        return fail(fmt::format("member '{}' must be a text of at most {} bytes", name, bytes_max));
    return found->get<std::string>();
}

Result<std::string> needed_text(const nlohmann::json& object, const char* name, std::size_t bytes_max) {
    auto text = text_member(object, name, bytes_max);
    if (!text) return tl::unexpected(text.error());
    if (!*text) return fail(fmt::format("member '{}' is missing; it is a text", name));
    return std::move(**text);
}

} // namespace turnstone
