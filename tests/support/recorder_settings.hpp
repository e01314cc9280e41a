#pragma once
#include <filesystem>

#include "server/record/write/recorder.hpp"

namespace turnstone::test {

/// How tests record, where they are not about these values.
inline RecorderSettings recorder_settings(const std::filesystem::path& directory) {
    return {.directory = directory, .commit_interval_ms = 100, .sync_every_commit = true};
}

} // namespace turnstone::test
