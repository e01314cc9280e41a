#pragma once
/// Bodies of requests about flights and recordings of the log book. An unknown member is a mistake, not ignored.
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "shared/result.hpp"

namespace turnstone {

/// At least one of them.
struct FlightRequest {
    std::optional<std::string> name;
    std::optional<std::string> notes;
    std::optional<std::vector<std::string>> tags;
    std::optional<std::string> configuration;
};
/// A new one at `t_s`, or the one with that key: with another text or, without one, taken back.
struct BookmarkRequest {
    std::string key = {};
    std::optional<std::string> text = {};
    double t_s = 0; ///< since the recording's start
};

[[nodiscard]] Result<FlightRequest> parse_flight_request(std::string_view body);
[[nodiscard]] Result<BookmarkRequest> parse_bookmark_request(std::string_view body);
/// Whether the recording is to be archived.
[[nodiscard]] Result<bool> parse_archive_request(std::string_view body);

} // namespace turnstone
