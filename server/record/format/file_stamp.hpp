#pragma once
#include <array>
#include <cstdint>
#include <filesystem>
#include <system_error>

namespace turnstone {

/// Sizes and times of modification of a recording's file and of its write-ahead file: while they are the same, so is
/// what it holds. Of a file that is gone: those of none.
struct FileStamp {
    std::array<std::int64_t, 4> numbers{};
    friend bool operator==(const FileStamp&, const FileStamp&) = default;
};

[[nodiscard]] inline FileStamp stamp_of(const std::filesystem::path& recording) {
    FileStamp stamp;
    std::size_t place = 0;
    for (const std::filesystem::path& file : {recording, std::filesystem::path(recording.string() + "-wal")}) {
        std::error_code none;
        const auto bytes = std::filesystem::file_size(file, none);
        stamp.numbers[place++] = none ? -1 : static_cast<std::int64_t>(bytes);
        const auto written = std::filesystem::last_write_time(file, none);
        stamp.numbers[place++] = none ? -1 : static_cast<std::int64_t>(written.time_since_epoch().count());
    }
    return stamp;
}

} // namespace turnstone
