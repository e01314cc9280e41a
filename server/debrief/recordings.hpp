#pragma once
#include <filesystem>

namespace turnstone::debrief {

/// Where the recordings are that a debrief may read, and write new ones beside.
struct Recordings {
    std::filesystem::path folder;
};

} // namespace turnstone::debrief
