#include "server/setup/self_described.hpp"

#include <algorithm>
#include <array>
#include <fstream>

#include <nlohmann/json.hpp>

#include "protocol/framing/line_deframer.hpp"
#include "protocol/lines/line_dictionary.hpp"
#include "protocol/nmea/nmea_dictionary.hpp"
#include "protocol/packet_radio/radio_dictionary.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "server/setup/settings.hpp"

namespace turnstone {

namespace {

constexpr std::string_view kNameless = "receiver";

/// Of a capture: its first line and the one after it, comments left out.
std::vector<LineColumn> columns_of_file(const std::string& path, const TextFraming& text) {
    constexpr std::size_t kHeadBytes = 65536;
    std::array<std::byte, kHeadBytes> head{};
    std::ifstream file(path, std::ios::binary);
    file.read(reinterpret_cast<char*>(head.data()), head.size());
    std::vector<std::string> lines;
    LineDeframer deframer({.checksum = text.checksum});
    deframer.push(std::span(head).first(static_cast<std::size_t>(file.gcount())), [&](const Frame& frame) {
        const std::string_view line(reinterpret_cast<const char*>(frame.packet.data()), frame.packet.size());
        if (frame.verdict == FrameVerdict::good && !line.starts_with('#') && lines.size() < 2) lines.emplace_back(line);
    });
    lines.resize(2);
    return columns_of_header(lines[0], lines[1], text.separator, text.decimal);
}

} // namespace

std::optional<std::string> dictionary_of_link(const LinkUri& uri, std::string_view vehicle) {
    const auto framing = framing_of(uri);
    if (!framing) return std::nullopt;
    if (std::holds_alternative<NmeaFraming>(*framing)) return nmea_dictionary_json(vehicle);
    if (std::holds_alternative<RadioFraming>(*framing)) return radio_dictionary_json(vehicle);
    const auto* text = std::get_if<TextFraming>(&*framing);
    if (text == nullptr) return std::nullopt;
    std::vector<LineColumn> columns = text->names;
    if (const auto* file = std::get_if<FileSource>(&uri.source); file != nullptr && columns.empty())
        columns = columns_of_file(file->path, *text);
    if (columns.empty()) return std::nullopt;
    return line_dictionary_json(vehicle, columns);
}

void add_self_described(const std::vector<LinkUri>& links, std::vector<VehicleSetup>& vehicles,
                        std::vector<Problem>& problems) {
    const bool had_none = vehicles.empty();
    for (const LinkUri& uri : links) {
        if (uri.vehicle.empty() && !had_none) continue;
        const std::string name = uri.vehicle.empty() ? std::string(kNameless) : uri.vehicle;
        const auto is_known = [&](const VehicleSetup& vehicle) { return vehicle.dictionary.vehicle == name; };
        if (std::ranges::any_of(vehicles, is_known)) continue;
        auto dictionary = dictionary_of_link(uri, name);
        if (!dictionary) continue;
        const nlohmann::json vehicle = {{"name", name}};
        if (auto made = read_vehicle_texts(std::move(*dictionary), vehicle.dump(), name, problems))
            vehicles.push_back(std::move(*made));
    }
}

} // namespace turnstone
