#pragma once
/// Bodies of the operator's requests: the JSON of protocol/STREAM.md section 3. An unknown member is a mistake, not
/// ignored.
#include <optional>
#include <string>
#include <string_view>

#include "server/pipeline/countdown_step.hpp"
#include "shared/result.hpp"

namespace turnstone {

struct KeyRequest {
    std::string key;
    std::string position; ///< of the poll; empty: the operator's key
};
struct RecordingRequest {
    std::string name; ///< may be empty
};
/// A marker or a note.
struct MarkRequest {
    std::string text;
    std::optional<double> t_s; ///< since the recording's start; empty: now
};
/// Of a marker or a note that stands.
struct ChangeRequest {
    std::string key;
    std::string text;
};
struct FlightNameRequest {
    std::string vehicle;
    std::string name; ///< may be empty
};
/// Of one alert, or of one marker or note.
struct KeyedRequest {
    std::string key;
};
struct ShelveRequest {
    std::string key;
    double for_s;
};
struct CountdownRequest {
    CountdownStep step;
    std::optional<double> left_s; ///< seconds to T-0; given with `run`, may be with `hold`
    std::string reason;           ///< with `hold` only; empty: not said
};
/// At least one of the two.
struct MetaRequest {
    std::optional<std::string> name;
    std::optional<std::string> notes;
};

[[nodiscard]] Result<KeyRequest> parse_key_request(std::string_view body);
[[nodiscard]] Result<RecordingRequest> parse_recording_request(std::string_view body);
[[nodiscard]] Result<MarkRequest> parse_mark_request(std::string_view body);
[[nodiscard]] Result<ChangeRequest> parse_change_request(std::string_view body);
[[nodiscard]] Result<FlightNameRequest> parse_flight_name_request(std::string_view body);
[[nodiscard]] Result<KeyedRequest> parse_keyed_request(std::string_view body);
[[nodiscard]] Result<ShelveRequest> parse_shelve_request(std::string_view body);
[[nodiscard]] Result<CountdownRequest> parse_countdown_request(std::string_view body);
[[nodiscard]] Result<MetaRequest> parse_meta_request(std::string_view body);

} // namespace turnstone
