#include "server/serve/live_recording.hpp"

#include <algorithm>
#include <utility>

#include "server/record/read/catalogue.hpp"

namespace turnstone {

void LiveRecording::begin(LiveTape tape) {
    newest_ns_ = tape.t_start_ns;
    marks_.clear();
    alerts_.clear();
    under_way_.begin(*tape.setup);
    missed_ = false;
    for (const Event& event : std::exchange(tape.past, {})) see(event);
    tape_ = std::move(tape);
    notes_.clear();
    ++revision_;
}

void LiveRecording::grow(std::int64_t newest_ns) noexcept {
    newest_ns_ = std::max(newest_ns_, newest_ns);
    ++revision_;
}

void LiveRecording::see(const Event& event) {
    if (event.kind == EventKind::marker || event.kind == EventKind::note) marks_.insert(event.key);
    if (event.kind == EventKind::alert_raised) alerts_.insert(event.key);
    under_way_.see(event);
}

void LiveRecording::set_meta(const std::string& key, const std::string& value) {
    if (tape_) (key == "name" ? tape_->name : notes_) = value;
    ++revision_;
}

RecordingInfo LiveRecording::info(std::uint64_t file_bytes) const {
    RecordingInfo info;
    info.id = tape_->id;
    info.name = tape_->name;
    info.notes = notes_;
    for (const VehicleSetup& vehicle : tape_->setup->vehicles)
        info.vehicles += (info.vehicles.empty() ? "" : ",") + vehicle.dictionary.vehicle;
    info.version = TURNSTONE_VERSION;
    info.t_start_ns = tape_->t_start_ns;
    info.utc_start_ns = tape_->utc_start_ns;
    info.t_end_ns = newest_ns_;
    info.file_bytes = file_bytes;
    return info;
}

Result<RecordingPlace> LiveRecording::find(const std::string& id) const {
    if (id == "live" && !tape_) return fail("nothing is being recorded");
    const bool live = tape_ && (id == "live" || id == tape_->id);
    return RecordingPlace{.id = live ? tape_->id : id, .live = live};
}

Result<std::filesystem::path> path_of(const std::filesystem::path& folder, const RecordingPlace& place) {
    auto path = recording_path(folder, place.id);
    if (!path && place.live) return fail("the recording's file is not on the disk yet; try again in a moment");
    return path;
}

} // namespace turnstone
