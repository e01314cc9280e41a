#include "server/serve/parse/client_message.hpp"

#include <cmath>

#include <nlohmann/json.hpp>

#include "server/serve/parse/flat_object.hpp"

namespace turnstone {
namespace {

constexpr double kWholeMax = 9007199254740991; // every whole number up to it is one in a browser too

constexpr double kRateMin = 0.1, kRateMax = 100;
constexpr std::size_t kByBytesMax = 40;

Result<LeadDebrief> lead_of(const nlohmann::json& object) {
    if (const auto end = object.find("end"); end != object.end()) {
        if (!end->is_boolean() || !end->get<bool>()) return fail("'end' of lead must be true");
        return LeadDebrief{.end = true};
    }
    const auto t_s = number_member(object, "t_s", -kTapeSecondsMax, kTapeSecondsMax);
    const auto rate = number_member(object, "rate", kRateMin, kRateMax);
    const auto playing = object.find("playing");
    auto by = text_member(object, "by", kByBytesMax);
    if (!t_s || !rate || playing == object.end() || !playing->is_boolean() || !by)
        return fail("lead needs 't_s', a number of seconds, 'playing', true or false, and 'rate', a number from 0.1 to "
                    "100; it may have 'by', a text of at most 40 bytes; or it has 'end', true");
    return LeadDebrief{
        .end = false, .t_s = *t_s, .playing = playing->get<bool>(), .rate = *rate, .by = by->value_or("")};
}

} // namespace

tl::expected<ClientMessage, ClientMessageError> parse_client_message(std::string_view text) {
    const auto fatal = [](std::string message) {
        return tl::unexpected<ClientMessageError>(
            {.fatal = true, .request = std::nullopt, .message = std::move(message)});
    };
    const auto object = parse_flat_object(text);
    if (!object) return fatal("a client text must be one flat JSON object");
    const auto type = object->find("type");
    if (type == object->end() || !type->is_string()) return fatal("a client text needs a 'type'");

    ClientMessage message;
    const auto wrong = [&](std::string text_of_error) {
        return tl::unexpected<ClientMessageError>(
            {.fatal = false, .request = message.request, .message = std::move(text_of_error)});
    };
    if (object->contains("request")) {
        const auto request = number_member(*object, "request", -kWholeMax, kWholeMax);
        if (!request || *request != std::floor(*request))
            return wrong("'request' must be a whole number below 2^53, of either sign");
        message.request = static_cast<std::int64_t>(*request);
    }

    const auto& word = type->get_ref<const std::string&>();
    if (word == "live") {
        message.what = FollowLive{};
    } else if (word == "time") {
        message.what = AskTime{};
    } else if (word == "pause") {
        message.what = PauseReplay{};
    } else if (word == "open") {
        const auto recording = object->find("recording");
        if (recording == object->end() || !recording->is_string())
            return wrong("open needs 'recording', the id of a recording as /api/recordings lists it");
        message.what = OpenReplay{recording->get<std::string>()};
    } else if (word == "seek") {
        const auto t_s = number_member(*object, "t_s", -kTapeSecondsMax, kTapeSecondsMax);
        if (!t_s) return wrong("seek needs 't_s', a number of seconds since the recording's start");
        message.what = SeekReplay{*t_s};
    } else if (word == "play") {
        const auto rate = number_member(*object, "rate", kRateMin, kRateMax);
        if (!rate) return wrong("play needs 'rate', a number from 0.1 to 100");
        message.what = PlayReplay{*rate};
    } else if (word == "step") {
        const bool of_packets = object->contains("packets");
        const auto rows = number_member(*object, of_packets ? "packets" : "rows", -1, 1);
        if (!rows || (*rows != 1 && *rows != -1) || (of_packets && object->contains("rows")))
            return wrong("step needs 'rows' or 'packets', which is 1 or -1");
        message.what = StepReplay{*rows > 0 ? 1 : -1, of_packets};
    } else if (word == "lead") {
        auto lead = lead_of(*object);
        if (!lead) return wrong(lead.error().message);
        message.what = std::move(*lead);
    } else if (word == "follow") {
        const auto follow = object->find("follow");
        if (follow == object->end() || !follow->is_boolean()) return wrong("follow needs 'follow', true or false");
        message.what = FollowDebrief{follow->get<bool>()};
    } else {
        return fatal("unknown 'type'; it may be live, open, seek, play, pause, step, time, lead or follow");
    }
    return message;
}

} // namespace turnstone
