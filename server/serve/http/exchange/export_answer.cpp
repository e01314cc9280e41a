#include "server/serve/http/exchange/export_answer.hpp"

#include <utility>

#include <fmt/format.h>

#include "server/debrief/flights/open_flight.hpp"
#include "server/exchange/export.hpp"

namespace turnstone {

namespace {

constexpr double kSecondsMost = 4e9;

Result<exchange::ExportWords> words_of(const Target& target) {
    if (auto allowed = allow_parameters(target, {"format", "from_s", "to_s", "channels", "every_s"}); !allowed)
        return tl::unexpected(allowed.error());
    exchange::ExportWords words{text_parameter(target, "format").value_or("csv"),
                                text_parameter(target, "channels").value_or("")};
    for (const auto& [name, value] :
         {std::pair("from_s", &words.from_s), std::pair("to_s", &words.to_s), std::pair("every_s", &words.every_s)}) {
        const auto number = number_parameter(target, name, -kSecondsMost, kSecondsMost);
        if (!number) return tl::unexpected(number.error());
        *value = *number;
    }
    return words;
}

/// Of a file: what the system and a header line take.
std::string file_name(const debrief::OpenFlight& flight, exchange::Format format) {
    const debrief::FlightId& id = flight.id();
    return fmt::format("{}-{}-{}{}", id.recording, id.vehicle, id.number, exchange::ending_of(format));
}

} // namespace

Answer export_answer(const debrief::Recordings& recordings, Downloads& downloads, const std::string& flight_id,
                     const Target& target, std::shared_ptr<Lease> slot) {
    const auto words = words_of(target);
    if (!words) return error_answer(400, words.error().message);
    const auto flight = debrief::open_flight(recordings, flight_id);
    if (!flight) return error_answer(404, flight.error().message);
    const debrief::OpenFlight& open = **flight;
    auto request = exchange::read_export_words(*words, open.recorded().info().t_start_ns);
    if (!request) return error_answer(400, request.error().message);
    request->vehicle = open.id().vehicle;
    if (!request->from_ns) request->from_ns = open.chapter().window.from_ns;
    if (!request->to_ns) request->to_ns = open.chapter().window.to_ns;
    if (auto known = exchange::can_export((*flight)->reader(), *request); !known)
        return error_answer(400, known.error().message);

    Result<void> room; // why it was stopped
    const debrief::Advance advance = [&](double) {
        room = downloads.has_room(0);
        return room.has_value();
    };
    auto file = downloads.made(
        [&](const std::filesystem::path& path) {
            return exchange::export_recording((*flight)->reader(), *request, path, advance);
        },
        std::move(slot));
    if (!room) return error_answer(503, room.error().message);
    if (!file) return error_answer(503, file.error().message);
    Answer answer;
    answer.file = std::move(*file);
    answer.content_type = exchange::media_type_of(request->format);
    answer.headers.emplace_back("Content-Disposition",
                                fmt::format("attachment; filename=\"{}\"", file_name(open, request->format)));
    return answer;
}

} // namespace turnstone
