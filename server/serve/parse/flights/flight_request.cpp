#include "server/serve/parse/flights/flight_request.hpp"

#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "server/serve/parse/flat_object.hpp"

namespace turnstone {
namespace {

using nlohmann::json;

constexpr std::size_t kTagsMax = 20;
constexpr std::size_t kTagBytesMax = 60;

/// Empty: absent.
Result<std::optional<std::vector<std::string>>> tags_member(const json& object) {
    const auto found = object.find("tags");
    if (found == object.end()) return std::nullopt;
    const auto wrong = [] {
        return fail(
            fmt::format("member 'tags' must be a list of at most {} texts of 1 to {} bytes", kTagsMax, kTagBytesMax));
    };
    if (!found->is_array() || found->size() > kTagsMax) return wrong();
    std::vector<std::string> tags;
    for (const json& tag : *found) {
        if (!tag.is_string()) return wrong();
        const auto& text = tag.get_ref<const std::string&>();
        if (text.empty() || text.size() > kTagBytesMax) return wrong();
        tags.push_back(text);
    }
    return tags;
}

} // namespace

Result<FlightRequest> parse_flight_request(std::string_view body) {
    const auto object = object_with(body, {"name", "notes", "tags", "configuration"});
    if (!object) return tl::unexpected(object.error());
    auto name = text_member(*object, "name", kNameBytesMax);
    if (!name) return tl::unexpected(name.error());
    auto notes = text_member(*object, "notes", kTextBytesMax);
    if (!notes) return tl::unexpected(notes.error());
    auto tags = tags_member(*object);
    if (!tags) return tl::unexpected(tags.error());
    auto configuration = text_member(*object, "configuration", kNameBytesMax);
    if (!configuration) return tl::unexpected(configuration.error());
    FlightRequest request{std::move(*name), std::move(*notes), std::move(*tags), std::move(*configuration)};
    if (!request.name && !request.notes && !request.tags && !request.configuration)
        return fail("the request's body must have at least one of name, notes, tags and configuration");
    return request;
}

Result<BookmarkRequest> parse_bookmark_request(std::string_view body) {
    const auto object = object_with(body, {"key", "text", "t_s"});
    if (!object) return tl::unexpected(object.error());
    auto key = text_member(*object, "key", kNameBytesMax);
    if (!key) return tl::unexpected(key.error());
    auto text = text_member(*object, "text", kTextBytesMax);
    if (!text) return tl::unexpected(text.error());
    const auto t_s = number_member(*object, "t_s", -kTapeSecondsMax, kTapeSecondsMax);
    if (*key) {
        if ((*key)->empty() || object->contains("t_s"))
            return fail("member 'key' is that of a marker, which stays where it is: without 't_s'");
        return BookmarkRequest{.key = std::move(**key), .text = std::move(*text)};
    }
    if (!t_s || !*text)
        return fail("a bookmark needs 'text' and 't_s', a number of seconds since the recording's start; or 'key'");
    return BookmarkRequest{.text = std::move(*text), .t_s = *t_s};
}

Result<bool> parse_archive_request(std::string_view body) {
    const auto object = object_with(body, {"archived"});
    if (!object) return tl::unexpected(object.error());
    const auto found = object->find("archived");
    if (found == object->end() || !found->is_boolean()) return fail("member 'archived' must be true or false");
    return found->get<bool>();
}

} // namespace turnstone
