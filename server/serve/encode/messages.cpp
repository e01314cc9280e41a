#include "server/serve/encode/messages.hpp"

#include <nlohmann/json.hpp>

#include "protocol/dictionary/roles.hpp"
#include "server/serve/encode/tape_time.hpp"

namespace turnstone {
namespace {

using nlohmann::json;

/// What things in dictionaries are called for people.
json roles_json() {
    json roles = json::object();
    for (const RoleInfo& role : kRoles) roles[std::string(role.name)] = role.title;
    return roles;
}

std::string hex(std::span<const std::byte> bytes) {
    constexpr std::string_view digits = "0123456789abcdef";
    std::string out;
    out.reserve(bytes.size() * 2);
    for (const std::byte b : bytes) {
        out.push_back(digits[std::to_integer<unsigned>(b) >> 4]);
        out.push_back(digits[std::to_integer<unsigned>(b) & 15]);
    }
    return out;
}

} // namespace

std::string dump(const json& value) {
    return value.dump(-1, ' ', false, json::error_handler_t::replace);
}

json latest_json(const LatestRows& latest, std::int64_t t_start_ns) {
    json out = json::array();
    for (std::size_t table = 0; table < latest.size(); ++table) {
        if (!latest[table]) continue;
        const auto& [t_ns, values] = *latest[table];
        out.push_back({{"table", table}, {"t_s", tape_seconds(t_ns, t_start_ns)}, {"values", values}});
    }
    return out;
}

std::uint64_t event_number(const Event& event) noexcept {
    std::uint64_t hash = 0xcbf29ce484222325;
    const auto mix = [&](unsigned char byte) { hash = (hash ^ byte) * 0x100000001b3; };
    for (const std::int64_t t_ns : {event.t_ns, event.t_found_ns})
        for (unsigned shift = 0; shift < 64; shift += 8)
            mix(static_cast<unsigned char>(static_cast<std::uint64_t>(t_ns) >> shift));
    for (const char c : event.key) mix(static_cast<unsigned char>(c));
    mix(0);
    for (const char c : event.text) mix(static_cast<unsigned char>(c));
    return hash >> 11;
}

json event_json(const Event& event, std::int64_t t_start_ns) {
    json data = json::object();
    for (const EventValue& value : event.values)
        std::visit([&](const auto& is) { data[value.name] = is; }, value.value);
    return {{"id", event_number(event)},
            {"event", event.id ? json(word(*event.id)) : json(nullptr)},
            {"t_s", tape_seconds(event.t_ns, t_start_ns)},
            {"t_found_s", tape_seconds(event.t_found_ns, t_start_ns)},
            {"t_sigma_s", event.t_sigma_s},
            {"kind", word(event.kind)},
            {"level", word(event.level)},
            {"vehicle", event.vehicle},
            {"key", event.key},
            {"text", event.text},
            {"advice", event.advice},
            {"data", std::move(data)}};
}

json frames_json(const FramePage& page, const std::vector<LinkSetup>& links, std::int64_t t_start_ns) {
    json frames = json::array();
    for (std::size_t i = 0; i < page.frames.size(); ++i) {
        const FrameRecord& frame = page.frames[i];
        frames.push_back({{"id", page.ids[i]},
                          {"t_rx_s", tape_seconds(frame.t_rx_ns, t_start_ns)},
                          {"link", frame.link < links.size() ? links[frame.link].name : std::string()},
                          {"octets", frame.link_bytes},
                          {"frame_verdict", word(frame.frame_verdict)},
                          {"decode_verdict", word(frame.decode_verdict)},
                          {"packet_verdict", word(frame.packet_verdict)},
                          {"apid", frame.apid < 0 ? json(nullptr) : json(frame.apid)},
                          {"sequence_count", frame.sequence_count < 0 ? json(nullptr) : json(frame.sequence_count)},
                          {"hex", hex(page.bytes[i])}});
    }
    return {{"frames", std::move(frames)}};
}

std::string hello_text(const HelloParts& parts, json description, json latest) {
    return dump({{"type", "hello"},
                 {"version", 1},
                 {"role", parts.is_operator ? "operator" : "viewer"},
                 {"server_id", parts.server_id},
                 {"roles", roles_json()},
                 {"description", std::move(description)},
                 {"mode", parts.replay ? "replay" : "live"},
                 {"latest", std::move(latest)}});
}

std::string event_text(const Event& event, std::int64_t t_start_ns) {
    json out = event_json(event, t_start_ns);
    out["type"] = "event";
    return dump(out);
}

std::string status_text(const std::vector<LinkView>& links, const RecorderStatus& recorder, const Audience& audience,
                        std::int64_t now_ns, std::int64_t utc_ns, std::optional<std::int64_t> t_start_ns) {
    const auto seconds = [&](std::int64_t t_ns) {
        return t_start_ns && t_ns != 0 ? json(tape_seconds(t_ns, *t_start_ns)) : json(nullptr);
    };
    json link_list = json::array();
    for (const LinkView& link : links)
        link_list.push_back({{"name", link.name},
                             {"state", word(link.state)},
                             {"detail", link.detail},
                             {"bytes", link.bytes},
                             {"t_last_s", seconds(link.t_last_ns)}});
    return dump({{"type", "status"},
                 {"t_s", seconds(now_ns)},
                 {"links", std::move(link_list)},
                 {"recorder",
                  {{"recording", recorder.recording},
                   {"fault", recorder.fault},
                   {"queue_bytes", recorder.queue_bytes},
                   {"dropped_bytes", recorder.dropped_here.bytes},
                   {"file_bytes", recorder.file_bytes},
                   {"disk_free_bytes", recorder.disk_free_bytes}}},
                 {"viewers", audience.viewers},
                 {"audience",
                  {{"operators", audience.operators},
                   {"replays", audience.replays},
                   {"answer_s", std::isfinite(audience.answer_s) ? json(audience.answer_s) : json(nullptr)},
                   {"left_out", audience.left_out},
                   {"behind", audience.behind}}},
                 {"utc_ns", std::to_string(utc_ns)}});
}

std::string time_text(std::int64_t now_ns, std::int64_t t_start_ns, std::optional<std::int64_t> request) {
    json out{{"type", "time"}, {"t_s", tape_seconds(now_ns, t_start_ns)}};
    if (request) out["request"] = *request;
    return dump(out);
}

std::string gap_text(const Gap& gap) {
    return dump({{"type", "gap"},
                 {"from_seq", gap.from_seq},
                 {"to_seq", gap.to_seq},
                 {"from_t_s", gap.from_t_s},
                 {"to_t_s", gap.to_t_s}});
}

std::string replay_text(const ReplayPosition& position, std::optional<std::int64_t> request, const json* latest) {
    json out{{"type", "replay"},
             {"cursor_s", position.cursor_s},
             {"playing", position.playing},
             {"rate", position.rate},
             {"t_end_s", position.t_end_s}};
    if (request) out["request"] = *request;
    if (latest != nullptr) out["latest"] = *latest;
    return dump(out);
}

std::string led_text(const LedPosition& position) {
    return dump({{"type", "led"},
                 {"recording", position.recording},
                 {"t_s", position.t_s},
                 {"playing", position.playing},
                 {"rate", position.rate},
                 {"by", position.by}});
}

std::string session_text(bool is_operator) {
    return dump({{"type", "session"}, {"role", is_operator ? "operator" : "viewer"}});
}

std::string error_text(std::string_view message, std::optional<std::int64_t> request) {
    json out{{"type", "error"}, {"message", message}};
    if (request) out["request"] = *request;
    return dump(out);
}

} // namespace turnstone
