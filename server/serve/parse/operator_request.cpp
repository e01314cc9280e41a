#include "server/serve/parse/operator_request.hpp"

#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "server/serve/parse/flat_object.hpp"

namespace turnstone {
namespace {

using nlohmann::json;

constexpr double kCountdownMax_s = 86'400;
constexpr double kShelvedMax_s = 3600; // an alert that nobody wants for longer has the wrong limit

/// A body of two texts that are both needed.
Result<std::pair<std::string, std::string>> two_texts(std::string_view body, const char* first,
                                                      std::size_t first_bytes_max, const char* second,
                                                      std::size_t second_bytes_max) {
    const auto object = object_with(body, {first, second});
    if (!object) return tl::unexpected(object.error());
    auto one = needed_text(*object, first, first_bytes_max);
    if (!one) return tl::unexpected(one.error());
    auto other = needed_text(*object, second, second_bytes_max);
    if (!other) return tl::unexpected(other.error());
    return std::pair(std::move(*one), std::move(*other));
}

} // namespace

Result<KeyRequest> parse_key_request(std::string_view body) {
    const auto object = object_with(body, {"key", "position"});
    if (!object) return tl::unexpected(object.error());
    auto key = needed_text(*object, "key", kNameBytesMax);
    if (!key) return tl::unexpected(key.error());
    const auto position = text_member(*object, "position", kNameBytesMax);
    if (!position) return tl::unexpected(position.error());
    return KeyRequest{std::move(*key), position->value_or("")};
}

Result<RecordingRequest> parse_recording_request(std::string_view body) {
    const auto object = object_with(body, {"name"});
    if (!object) return tl::unexpected(object.error());
    const auto name = text_member(*object, "name", kNameBytesMax);
    if (!name) return tl::unexpected(name.error());
    return RecordingRequest{name->value_or("")};
}

Result<MarkRequest> parse_mark_request(std::string_view body) {
    const auto object = object_with(body, {"text", "t_s"});
    if (!object) return tl::unexpected(object.error());
    auto text = needed_text(*object, "text", kTextBytesMax);
    if (!text) return tl::unexpected(text.error());
    const auto t_s = number_member(*object, "t_s", -kTapeSecondsMax, kTapeSecondsMax);
    if (!t_s && object->contains("t_s"))
        return fail("member 't_s' must be a number of seconds since the recording's start");
    return MarkRequest{std::move(*text), t_s};
}

Result<ChangeRequest> parse_change_request(std::string_view body) {
    auto texts = two_texts(body, "key", kNameBytesMax, "text", kTextBytesMax);
    if (!texts) return tl::unexpected(texts.error());
    return ChangeRequest{std::move(texts->first), std::move(texts->second)};
}

Result<FlightNameRequest> parse_flight_name_request(std::string_view body) {
    auto texts = two_texts(body, "vehicle", kNameBytesMax, "name", kNameBytesMax);
    if (!texts) return tl::unexpected(texts.error());
    return FlightNameRequest{std::move(texts->first), std::move(texts->second)};
}

Result<KeyedRequest> parse_keyed_request(std::string_view body) {
    const auto object = object_with(body, {"key"});
    if (!object) return tl::unexpected(object.error());
    auto key = needed_text(*object, "key", kNameBytesMax);
    if (!key) return tl::unexpected(key.error());
    return KeyedRequest{std::move(*key)};
}

Result<ShelveRequest> parse_shelve_request(std::string_view body) {
    const auto object = object_with(body, {"key", "for_s"});
    if (!object) return tl::unexpected(object.error());
    auto key = needed_text(*object, "key", kNameBytesMax);
    if (!key) return tl::unexpected(key.error());
    const auto for_s = number_member(*object, "for_s", 1, kShelvedMax_s);
    if (!for_s) return fail(fmt::format("member 'for_s' must be a number of seconds from 1 to {:.0f}", kShelvedMax_s));
    return ShelveRequest{std::move(*key), *for_s};
}

Result<CountdownRequest> parse_countdown_request(std::string_view body) {
    const auto object = object_with(body, {"step", "left_s", "reason"});
    if (!object) return tl::unexpected(object.error());
    const auto named = needed_text(*object, "step", kNameBytesMax);
    if (!named) return tl::unexpected(named.error());
    const auto step = from_word<CountdownStep>(*named);
    if (!step) return fail("member 'step' must be one of run, hold, resume, off");
    const auto left_s = number_member(*object, "left_s", 0, kCountdownMax_s);
    if (!left_s && (object->contains("left_s") || *step == CountdownStep::run))
        return fail(fmt::format("member 'left_s' must be a number of seconds from 0 to {:.0f}", kCountdownMax_s));
    if (left_s && *step != CountdownStep::run && *step != CountdownStep::hold)
        return fail("member 'left_s' belongs to the steps run and hold");
    auto reason = text_member(*object, "reason", kNoteBytesMax);
    if (!reason) return tl::unexpected(reason.error());
    if (*reason && *step != CountdownStep::hold) return fail("member 'reason' belongs to the step hold");
    return CountdownRequest{*step, left_s, std::move(*reason).value_or("")};
}

Result<MetaRequest> parse_meta_request(std::string_view body) {
    const auto object = object_with(body, {"name", "notes"});
    if (!object) return tl::unexpected(object.error());
    auto name = text_member(*object, "name", kNameBytesMax);
    if (!name) return tl::unexpected(name.error());
    auto notes = text_member(*object, "notes", kTextBytesMax);
    if (!notes) return tl::unexpected(notes.error());
    if (!*name && !*notes) return fail("give 'name' or 'notes', or both");
    return MetaRequest{std::move(*name), std::move(*notes)};
}

} // namespace turnstone
