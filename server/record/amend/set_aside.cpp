#include "server/record/amend/set_aside.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <system_error>

#include <fcntl.h>
#include <stdio.h>
#include <sys/stat.h>

#include "server/record/format/database_files.hpp"
#include "server/record/read/catalogue.hpp"
#include "server/record/write/recording_claim.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

namespace {

constexpr const char* kAsideFolder = ".removed";

/// In that order away and in the other one back, so that a file that a kill left half moved comes back whole. Empty:
/// done.
std::string move_all(const std::filesystem::path& from, const std::filesystem::path& to, bool back) {
    auto endings = kDatabaseEndings;
    if (back) std::ranges::reverse(endings);
    for (const char* ending : endings) {
        const std::string source = from.string() + ending, target = to.string() + ending;
        if (::renameat2(AT_FDCWD, source.c_str(), AT_FDCWD, target.c_str(), RENAME_NOREPLACE) == 0) continue;
        if (errno == ENOENT && *ending != '\0') continue;
        return std::strerror(errno);
    }
    return {};
}

/// When it was moved: the file's own times are those of the recording.
std::chrono::system_clock::time_point moved_at(const std::filesystem::path& file) {
    struct stat status {};
    if (::stat(file.c_str(), &status) != 0) return {};
    return std::chrono::system_clock::from_time_t(status.st_ctim.tv_sec);
}

} // namespace

Result<void> set_aside(const std::filesystem::path& recording) {
    const std::filesystem::path folder = recording.parent_path() / kAsideFolder;
    if (RecordingClaim::is_held(recording))
        return fail(recording.stem().string() + " is being written; end it before you delete it");
    std::error_code error;
    std::filesystem::create_directories(folder, error);
    const std::filesystem::path aside = folder / recording.filename();
    if (!error) remove_database(aside); // an earlier one of that id, which gave its place to this
    const std::string why = error ? error.message() : move_all(recording, aside, false);
    if (!why.empty())
        return fail(recording.string() + " cannot be moved aside: " + why + "; check who may write to its folder");
    return {};
}

Result<void> bring_back(const std::filesystem::path& directory, const std::string& id) {
    const auto aside = recording_path(directory / kAsideFolder, id);
    if (!aside) return fail("recording " + id.substr(0, 128) + ": it was not deleted within the last day");
    if (const std::string why = move_all(*aside, directory / aside->filename(), true); !why.empty())
        return fail("recording " + id + " cannot be brought back: " + why);
    return {};
}

std::vector<AsideRecording> recordings_aside(const std::filesystem::path& directory,
                                             std::chrono::system_clock::time_point now) {
    std::vector<AsideRecording> found;
    for (const std::filesystem::path& file : recording_files(directory / kAsideFolder)) {
        const auto until = moved_at(file) + kKeptAside;
        if (until <= now)
            remove_database(file);
        else
            found.push_back({file.stem().string(),
                             std::chrono::duration_cast<std::chrono::nanoseconds>(until.time_since_epoch()).count()});
    }
    return found;
}

} // namespace turnstone
