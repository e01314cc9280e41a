#include "server/debrief/flights/open_flight.hpp"

#include "server/record/read/catalogue.hpp"

namespace turnstone::debrief {

const Chapter* find_chapter(const Recorded& recorded, const std::vector<Chapter>& chapters, const FlightId& id) {
    for (const Chapter& chapter : chapters)
        if (chapter.number == id.number && recorded.vehicle_name(chapter.vehicle) == id.vehicle) return &chapter;
    return nullptr;
}

Result<std::unique_ptr<OpenFlight>> open_flight(const Recordings& recordings, std::string_view id) {
    auto parsed = parse_flight_id(id);
    if (!parsed) return tl::unexpected(parsed.error());
    const auto path = recording_path(recordings.folder, parsed->recording);
    if (!path) return tl::unexpected(path.error());
    auto reader = RecordingReader::open(*path);
    if (!reader) return tl::unexpected(reader.error());
    auto flight = std::make_unique<OpenFlight>(std::move(*parsed), std::move(*reader));
    const auto chapters = chapters_in(flight->recorded_);
    const Chapter* chapter = find_chapter(flight->recorded_, chapters, flight->id_);
    if (chapter == nullptr || !chapter->liftoff_ns)
        return fail("recording " + flight->id_.recording + " has no flight " + std::to_string(flight->id_.number) +
                    " of '" + flight->id_.vehicle.substr(0, 40) + "'; GET /api/flights lists the flights");
    flight->chapter_ = *chapter;
    return flight;
}

} // namespace turnstone::debrief
