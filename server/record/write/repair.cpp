#include "server/record/write/repair.hpp"

#include <algorithm>
#include <chrono>
#include <cstring>

#include "server/record/format/database_files.hpp"
#include "server/record/format/fixed_tables.hpp"
#include "server/record/write/recording_claim.hpp"
#include "server/record/write/recording_file.hpp"

namespace turnstone {

Result<RepairOutcome> repair_recording(const std::filesystem::path& path, const std::string& ended) {
    try {
        {
            Database database(path, Database::Mode::read_only);
            if (!is_readable(database))
                return fail(path.string() + ": not a recording that this version can repair; left as it is");
            if (!database.text("SELECT value FROM meta WHERE key = 'ended'").empty() &&
                database.text("PRAGMA journal_mode") == "delete")
                return RepairOutcome::nothing_to_do;
        }
        // Leaving WAL works only with sole use of the file: this is the test for a live writer.
        if (!make_single_file(path)) return RepairOutcome::in_use;
        Database database(path, Database::Mode::read_write);
        if (!database.text("SELECT value FROM meta WHERE key = 'ended'").empty()) return RepairOutcome::repaired;
        const std::vector<StoredTable> tables = read_tables(database);
        database.execute("BEGIN IMMEDIATE");
        RowInsert<MetaRow> meta(database, kMetaTable);
        meta.write({"t_end_ns", std::to_string(newest_stored_time(database, tables))});
        meta.write({"ended", ended});
        database.execute("COMMIT");
        return RepairOutcome::repaired;
    } catch (const std::exception& error) {
        return fail("repairing " + path.string() + ": " + error.what());
    }
}

namespace {

/// Every entry; a loop that stops at a read error instead of throwing.
template <class OnEntry>
void for_each_entry(const std::filesystem::path& directory, OnEntry&& on_entry) {
    std::error_code error;
    for (std::filesystem::directory_iterator entry(directory, error), end; !error && entry != end;
         entry.increment(error))
        on_entry(*entry);
}

/// `name` without these ends; empty when it has others.
std::string between(const std::string& name, std::string_view begin, std::string_view end) {
    if (name.size() <= begin.size() + end.size() || !name.starts_with(begin) || !name.ends_with(end)) return "";
    return name.substr(begin.size(), name.size() - begin.size() - end.size());
}

} // namespace

std::vector<std::filesystem::path> recording_files(const std::filesystem::path& directory) {
    std::vector<std::filesystem::path> found;
    for_each_entry(directory, [&found](const std::filesystem::directory_entry& entry) {
        std::error_code error;
        if (entry.path().extension() == kRecordingEnding && !entry.path().filename().string().starts_with('.') &&
            entry.is_regular_file(error))
            found.push_back(entry.path());
    });
    // A number behind an id counts: -2 comes after none and before -10.
    std::ranges::sort(found, [](const std::filesystem::path& a, const std::filesystem::path& b) {
        return strverscmp(a.stem().c_str(), b.stem().c_str()) < 0;
    });
    return found;
}

std::vector<std::filesystem::path> unclosed_recordings(const std::filesystem::path& directory) {
    std::vector<std::filesystem::path> found;
    for (const std::filesystem::path& path : recording_files(directory)) {
        try {
            Database database(path, Database::Mode::read_only);
            if (database.integer("PRAGMA application_id") == kApplicationId &&
                (database.text("SELECT value FROM meta WHERE key = 'ended'").empty() ||
                 database.text("PRAGMA journal_mode") == "wal"))
                found.push_back(path);
        } catch (const SqliteError&) {
            // Damaged, or not a database: the catalogue lists it with the reason; nothing here can repair it.
            continue;
        }
    }
    return found;
}

void remove_leftovers(const std::filesystem::path& directory) {
    const std::vector<std::filesystem::path> unclosed = unclosed_recordings(directory);
    std::vector<std::filesystem::path> half_made, locked;
    for_each_entry(directory, [&](const std::filesystem::directory_entry& entry) {
        const std::string name = entry.path().filename().string(), ending(kRecordingEnding);
        std::error_code error;
        const auto recording = [&](const std::string& stem) { return directory / (stem + ending); };
        // A young one may be at the point of being made or taken: looking at a lock is holding it for a moment.
        const auto age = std::filesystem::file_time_type::clock::now() - entry.last_write_time(error);
        const bool is_old = !error && age > std::chrono::minutes(1);
        if (const std::string made = between(name, ".", ending + ".new"); !made.empty()) {
            if (is_old && !RecordingClaim::is_held(recording(made))) half_made.push_back(entry.path());
        } else if (!between(name, ".", kUnfinishedEnding).empty()) {
            if (!RecordingClaim::is_held(entry.path())) half_made.push_back(entry.path());
        } else if (const std::string lock = between(name, ".", ending + ".lock"); !lock.empty()) {
            if (is_old && std::ranges::find(unclosed, recording(lock)) == unclosed.end())
                locked.push_back(recording(lock));
        } else if (const std::string index = between(name, "", ending + "-shm"); !index.empty()) {
            if (!std::filesystem::exists(recording(index), error) && !error) half_made.push_back(entry.path());
        }
    });
    for (const auto& path : half_made) remove_database(path);
    for (const auto& path : locked) {
        try {
            if (!RecordingClaim::is_held(path)) (void)RecordingClaim::take(path); // it goes with the claim
        } catch (const SqliteError&) {
            continue; // a directory that cannot be written to keeps its leftovers
        }
    }
}

} // namespace turnstone
