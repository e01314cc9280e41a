#include "server/serve/parse/client_message.hpp"

#include <cmath>

#include <nlohmann/json.hpp>

namespace turnstone {
namespace {

using nlohmann::json;

constexpr int kDepthMax = 4; // the messages are flat; this only bounds what a hostile text can make the parser do
constexpr double kSecondsMax = 1e9; // some thirty years: no tape is longer, and nanoseconds stay within 64 bits

std::optional<double> number_member(const json& object, const char* name, double min, double max) {
    const auto found = object.find(name);
    if (found == object.end() || !found->is_number()) return std::nullopt;
    const double value = found->get<double>();
    if (!(value >= min && value <= max)) return std::nullopt;
    return value;
}

} // namespace

tl::expected<ClientMessage, ClientMessageError> parse_client_message(std::string_view text) {
    const auto fatal = [](std::string message) {
        return tl::unexpected<ClientMessageError>({true, std::nullopt, std::move(message)});
    };
    bool too_deep = false;
    const json object = json::parse(
        text,
        [&](int depth, json::parse_event_t, json&) {
            too_deep = too_deep || depth > kDepthMax;
            return !too_deep;
        },
        false);
    if (too_deep || !object.is_object()) return fatal("a client text must be one flat JSON object");
    const auto type = object.find("type");
    if (type == object.end() || !type->is_string()) return fatal("a client text needs a 'type'");

    ClientMessage message;
    if (const auto request = object.find("request"); request != object.end()) {
        if (!request->is_number_integer()) return fatal("'request' must be a whole number");
        message.request = request->get<std::int64_t>();
    }
    const auto wrong = [&](std::string text_of_error) {
        return tl::unexpected<ClientMessageError>({false, message.request, std::move(text_of_error)});
    };

    const auto& word = type->get_ref<const std::string&>();
    if (word == "live") {
        message.what = FollowLive{};
    } else if (word == "pause") {
        message.what = PauseReplay{};
    } else if (word == "open") {
        const auto recording = object.find("recording");
        if (recording == object.end() || !recording->is_string())
            return wrong("open needs 'recording', the id of a recording as /api/recordings lists it");
        message.what = OpenReplay{recording->get<std::string>()};
    } else if (word == "seek") {
        const auto t_s = number_member(object, "t_s", -kSecondsMax, kSecondsMax);
        if (!t_s) return wrong("seek needs 't_s', a number of seconds since the recording's start");
        message.what = SeekReplay{*t_s};
    } else if (word == "play") {
        const auto rate = number_member(object, "rate", 0.1, 100);
        if (!rate) return wrong("play needs 'rate', a number from 0.1 to 100");
        message.what = PlayReplay{*rate};
    } else if (word == "step") {
        const auto rows = number_member(object, "rows", -1, 1);
        if (!rows || (*rows != 1 && *rows != -1)) return wrong("step needs 'rows', which is 1 or -1");
        message.what = StepReplay{*rows > 0 ? 1 : -1};
    } else {
        return fatal("unknown 'type'; it may be live, open, seek, play, pause or step");
    }
    return message;
}

} // namespace turnstone
