#include "server/record/format/recording_id.hpp"

#include <ctime>

#include "server/record/format/layout.hpp"

namespace turnstone {

std::string recording_id(std::int64_t utc_ns, const std::string& vehicle) {
    const auto seconds =
        static_cast<std::time_t>(utc_ns >= 0 ? utc_ns / 1'000'000'000 : (utc_ns - 999'999'999) / 1'000'000'000);
    std::tm utc{};
    gmtime_r(&seconds, &utc);
    char stamp[32];
    std::strftime(stamp, sizeof(stamp), "%Y-%m-%dT%H%M%SZ", &utc);
    std::string id = stamp;
    std::string word;
    for (const char c : vehicle.substr(0, 64)) {
        const bool kept =
            (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' || c == '-';
        word += kept ? c : '-';
    }
    if (!word.empty()) id += "-" + word;
    return id;
}

std::string free_recording_id(const std::filesystem::path& directory, std::int64_t utc_ns, const std::string& vehicle) {
    const std::string id = recording_id(utc_ns, vehicle);
    std::string unique = id;
    std::error_code error;
    for (int number = 2; std::filesystem::exists(directory / (unique + std::string(kRecordingEnding)), error); ++number)
        unique = id + "-" + std::to_string(number);
    return unique;
}

} // namespace turnstone
