#include "server/debrief/flights/log_book.hpp"

#include <algorithm>
#include <exception>
#include <fstream>
#include <system_error>
#include <utility>

#include <unistd.h>

#include "server/debrief/flights/chapters.hpp"
#include "server/debrief/flights/summary.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone::debrief {

namespace {

using nlohmann::json;

/// Goes up when what the file holds, or how it is worked out, changes.
constexpr int kFileFormat = 3;

std::string maker() {
    return std::string(TURNSTONE_VERSION) + "/" + std::to_string(kFileFormat);
}

struct ReadRecording {
    json about;
    json flights = json::array();
};

ReadRecording read_recording(const std::filesystem::path& path) {
    ReadRecording read;
    read.about = {{"id", path.stem().string()}, {"name", ""}, {"damage", ""}, {"ended", ""}, {"archived", false}};
    try {
        auto reader = RecordingReader::open(path);
        if (!reader) {
            read.about["damage"] = reader.error().message;
            return read;
        }
        const std::string when_opened = reader->damage();
        const Recorded recorded(*reader);
        for (const Chapter& chapter : chapters_in(recorded))
            if (chapter.liftoff_ns) read.flights.push_back(summary_of(recorded, chapter));
        const RecordingInfo info = reader->info();
        read.about["name"] = info.name;
        read.about["damage"] = info.damage == when_opened
                                   ? info.damage
                                   : path.string() +
                                         ": a part of it cannot be read; make a recording of what is whole: "
                                         "turnstone reprocess " +
                                         path.string();
        read.about["ended"] = info.ended;
        read.about["archived"] = info.archived;
        for (json& flight : read.flights) {
            flight["archived"] = info.archived;
            flight["damage"] = read.about["damage"];
        }
    } catch (const std::exception& failure) {
        read.about["damage"] = failure.what();
    }
    return read;
}

/// Decimal texts of times since 1970, all of one length for three centuries.
bool is_newer(const json& a, const json& b) {
    const auto& of_a = a.at("utc_liftoff_ns").get_ref<const std::string&>();
    const auto& of_b = b.at("utc_liftoff_ns").get_ref<const std::string&>();
    return std::pair(of_a.size(), of_a) > std::pair(of_b.size(), of_b);
}

} // namespace

bool LogBook::holds(const Known& known, const std::filesystem::path& path, bool live) const {
    if (known.stamp == stamp_of(path)) return true;
    return live && Clock::now() - known.read_at < kLiveHolds;
}

std::optional<std::filesystem::path> LogBook::take_unread(const std::string& live_id) {
    const std::vector<std::filesystem::path> paths = recording_files(folder_);
    const std::lock_guard lock(mutex_);
    load();
    // The newest first: they are what is looked for.
    for (auto path = paths.rbegin(); path != paths.rend(); ++path) {
        const std::string id = path->stem().string();
        const auto known = known_.find(id);
        if (known != known_.end() && holds(known->second, *path, id == live_id)) continue;
        if (being_read_.insert(id).second) return *path;
    }
    return std::nullopt;
}

bool LogBook::read_one(const std::string& live_id) {
    if (stopping_) return false;
    const auto path = take_unread(live_id);
    if (!path) return false;
    const std::string id = path->stem().string();
    const FileStamp stamp = stamp_of(*path); // before: what changes meanwhile is read again
    ReadRecording read = read_recording(*path);
    ++reads_;
    const std::lock_guard lock(mutex_);
    being_read_.erase(id);
    known_.insert_or_assign(id, Known{stamp, std::move(read.about), std::move(read.flights), Clock::now()});
    changed_ = changed_ || id != live_id; // what holds for seconds is not worth a file
    return true;
}

json LogBook::list(const std::string& live_id) {
    const std::vector<std::filesystem::path> paths = recording_files(folder_);
    const std::lock_guard lock(mutex_);
    load();
    std::erase_if(known_, [&](const auto& entry) {
        return std::ranges::none_of(paths, [&](const auto& path) { return path.stem() == entry.first; });
    });
    std::vector<json> flights;
    json without = json::array();
    std::size_t unread = 0;
    for (auto path = paths.rbegin(); path != paths.rend(); ++path) {
        const std::string id = path->stem().string();
        const auto known = known_.find(id);
        // The one under way always has changed: to read it now and then tells nothing new.
        if (known == known_.end() || (id != live_id && !holds(known->second, *path, false))) ++unread;
        if (known == known_.end()) continue;
        if (known->second.flights.empty()) {
            without.push_back(known->second.about);
            without.back()["live"] = id == live_id;
        }
        for (const json& flight : known->second.flights) {
            flights.push_back(flight);
            flights.back()["live"] = id == live_id;
        }
    }
    if (unread == 0 && std::exchange(changed_, false)) save();
    std::ranges::stable_sort(flights, is_newer);
    return {{"flights", std::move(flights)}, {"recordings_without", std::move(without)}, {"unread", unread}};
}

void LogBook::load() {
    if (std::exchange(loaded_, true)) return;
    std::ifstream file(folder_ / kFile);
    const json kept = json::parse(file, nullptr, false);
    try {
        if (!kept.is_object() || kept.at("made_by") != maker()) return;
        for (const auto& [id, entry] : kept.at("recordings").items()) {
            Known known;
            known.stamp.numbers = entry.at("stamp").get<decltype(known.stamp.numbers)>();
            known.about = entry.at("about");
            known.flights = entry.at("flights");
            for (const json& flight : known.flights) static_cast<void>(is_newer(flight, flight));
            if (known.about.is_object() && known.flights.is_array()) known_.emplace(id, std::move(known));
        }
    } catch (const json::exception&) {
        known_.clear(); // a file that somebody else wrote: everything is read again
    }
}

void LogBook::save() {
    json recordings = json::object();
    for (const auto& [id, known] : known_)
        recordings[id] = {{"stamp", known.stamp.numbers}, {"about", known.about}, {"flights", known.flights}};
    const std::string text = json{{"made_by", maker()}, {"recordings", std::move(recordings)}}.dump(
        -1, ' ', false, json::error_handler_t::replace);
    // It has its name when it is whole. One that cannot be written costs reading again after the next start.
    const std::filesystem::path part = folder_ / (std::string(kFile) + "." + std::to_string(::getpid()));
    std::error_code ignored;
    {
        std::ofstream file(part, std::ios::binary | std::ios::trunc);
        file << text;
        if (!file.flush()) {
            std::filesystem::remove(part, ignored);
            return;
        }
    }
    std::filesystem::rename(part, folder_ / kFile, ignored);
}

} // namespace turnstone::debrief
