#include "server/publish/publish_place.hpp"

#include <charconv>
#include <fstream>
#include <iterator>
#include <system_error>

#include <nlohmann/json.hpp>

namespace turnstone {

namespace {

using nlohmann::json;

/// Numbers of 64 bits as decimal text, since they pass 2^53.
template <class Number>
bool read_number(const json& from, Number& out) {
    if (!from.is_string()) return false;
    const std::string& text = from.get_ref<const std::string&>();
    const char* const end = text.data() + text.size();
    const auto [last, error] = std::from_chars(text.data(), end, out);
    return error == std::errc() && last == end;
}

} // namespace

std::string to_json(const PublishState& state) {
    json offsets = json::object();
    for (const auto& [link, offset] : state.place.offsets) offsets[link] = std::to_string(offset);
    json out;
    out["stream"] = std::to_string(state.place.stream);
    out["recordings"] = state.recordings;
    out["next_input"] = std::to_string(state.place.next_input);
    out["t_last_ns"] = std::to_string(state.place.t_last_ns);
    out["offsets"] = std::move(offsets);
    return out.dump(1) + "\n";
}

std::optional<PublishState> publish_state_from_json(std::string_view text) {
    const json in = json::parse(text, nullptr, false);
    if (!in.is_object()) return std::nullopt;
    const auto member = [&in](const char* name) { return in.value(name, json()); };
    PublishState state;
    const json recordings = member("recordings"), offsets = member("offsets");
    if (!read_number(member("stream"), state.place.stream) ||
        !read_number(member("next_input"), state.place.next_input) ||
        !read_number(member("t_last_ns"), state.place.t_last_ns) || !recordings.is_array() || !offsets.is_object())
        return std::nullopt;
    for (const json& id : recordings) {
        if (!id.is_string()) return std::nullopt;
        state.recordings.push_back(id.get<std::string>());
    }
    for (const auto& [link, offset] : offsets.items())
        if (!read_number(offset, state.place.offsets[link])) return std::nullopt;
    return state;
}

std::optional<PublishState> read_publish_state(const std::filesystem::path& file) {
    std::ifstream in(file, std::ios::binary);
    if (!in) return std::nullopt;
    const std::string text{std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
    return publish_state_from_json(text);
}

Result<void> write_publish_state(const std::filesystem::path& file, const PublishState& state) {
    const std::filesystem::path beside = file.string() + ".new";
    {
        std::ofstream out(beside, std::ios::binary | std::ios::trunc);
        out << to_json(state);
        if (!out.flush()) return fail(beside.string() + " cannot be written; free space on the disk");
    }
    std::error_code error;
    std::filesystem::rename(beside, file, error);
    if (error) return fail(file.string() + " cannot be written (" + error.message() + ")");
    return {};
}

} // namespace turnstone
