#include "server/record/read/catalogue.hpp"

#include <algorithm>

#include "server/record/format/fixed_tables.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kIdLengthMax = 128;

/// Letters, digits, dot, hyphen and underscore, not starting with a dot: it cannot form a path.
bool is_plain_id(const std::string& id) {
    return !id.empty() && id.size() <= kIdLengthMax && id.front() != '.' && id.find("..") == std::string::npos &&
           std::ranges::all_of(
               id,
               [](char c) {
                   return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '.' ||
                          c == '-' || c == '_';
               });
}

} // namespace

RecordingInfo recording_info(const std::filesystem::path& path) {
    auto reader = RecordingReader::open(path);
    if (reader) return reader->info();
    RecordingInfo info;
    info.id = path.stem().string();
    info.path = path;
    info.damage = reader.error().message;
    std::error_code error;
    const auto size = std::filesystem::file_size(path, error);
    info.file_bytes = error ? 0 : size;
    return info;
}

std::vector<RecordingInfo> scan_recordings(const std::filesystem::path& directory) {
    std::vector<RecordingInfo> found;
    for (const std::filesystem::path& path : recording_files(directory)) found.push_back(recording_info(path));
    // Ids begin with the UTC start, so sorting by id also places damaged files, whose start cannot be read.
    std::ranges::sort(found, [](const RecordingInfo& a, const RecordingInfo& b) { return a.id > b.id; });
    return found;
}

Result<std::filesystem::path> recording_path(const std::filesystem::path& directory, const std::string& id) {
    if (!is_plain_id(id)) {
        return fail("recording id: only letters, digits, '.', '-' and '_' are allowed; the catalogue "
                    "lists the ids");
    }
    const std::filesystem::path path = directory / (id + std::string(kRecordingEnding));
    std::error_code error;
    if (!std::filesystem::is_regular_file(path, error))
        return fail("recording " + id + ": no recording has this id; the catalogue lists the ids");
    return path;
}

Result<void> set_recording_meta(const std::filesystem::path& path, const std::string& key, const std::string& value) {
    if (key != "name" && key != "notes" && key != "archived")
        return fail("recording meta '" + key + "': only name, notes and archived can be changed");
    if (auto reader = RecordingReader::open(path); !reader) return tl::unexpected(reader.error());
    try {
        Database database(path, Database::Mode::read_write);
        RowInsert<MetaRow>(database, kMetaTable).write({key, value});
        return {};
    } catch (const SqliteError& error) {
        return fail(path.string() + ": " + key + " cannot be changed: " + error.what() +
                    "; check that the file may be written to");
    }
}

} // namespace turnstone
