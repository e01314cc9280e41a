#pragma once
/// JSON texts of protocol/STREAM.md. NaN becomes null, bytes that are not UTF-8 become U+FFFD.
#include <cmath>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "server/pipeline/batch.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/recorder.hpp"
#include "server/serve/encode/blocks.hpp"
#include "server/serve/live_tape.hpp"

namespace turnstone {

[[nodiscard]] std::string dump(const nlohmann::json& value);

[[nodiscard]] nlohmann::json latest_json(const LatestRows& latest, std::int64_t t_start_ns);
[[nodiscard]] nlohmann::json event_json(const Event& event, std::int64_t t_start_ns);
[[nodiscard]] nlohmann::json frames_json(const FramePage& page, const std::vector<LinkSetup>& links,
                                         std::int64_t t_start_ns);

struct HelloParts {
    bool is_operator = false;
    bool replay = false;
    std::string_view server_id;
};
/// `description` and `latest` as made above.
[[nodiscard]] std::string hello_text(const HelloParts& parts, nlohmann::json description, nlohmann::json latest);
[[nodiscard]] std::string event_text(const Event& event, std::int64_t t_start_ns);
/// Who is connected, and how well they keep up.
struct Audience {
    std::size_t viewers = 0, operators = 0, replays = 0, behind = 0;
    double answer_s = NAN;      ///< the longest that one of them took for the last ping; NaN: none was asked yet
    std::uint64_t left_out = 0; ///< block messages, since the server's start
};
/// `t_start_ns` empty: nothing is being recorded, times are null.
[[nodiscard]] std::string status_text(const std::vector<LinkView>& links, const RecorderStatus& recorder,
                                      const Audience& audience, std::int64_t now_ns, std::int64_t utc_ns,
                                      std::optional<std::int64_t> t_start_ns);

struct Gap {
    std::uint64_t from_seq = 0, to_seq = 0; ///< both were left out, and all between
    double from_t_s = 0, to_t_s = 0;
};
/// What time it is on the live tape, to whoever asked.
[[nodiscard]] std::string time_text(std::int64_t now_ns, std::int64_t t_start_ns, std::optional<std::int64_t> request);
[[nodiscard]] std::string gap_text(const Gap& gap);

struct ReplayPosition {
    double cursor_s = 0;
    bool playing = false;
    double rate = 1;
    double t_end_s = 0;
};
[[nodiscard]] std::string replay_text(const ReplayPosition& position, std::optional<std::int64_t> request,
                                      const nlohmann::json* latest);
/// Where the one who leads a debrief is.
struct LedPosition {
    std::string recording; ///< empty: nobody leads
    double t_s = 0;
    bool playing = false;
    double rate = 1;
    std::string by;
};
[[nodiscard]] std::string led_text(const LedPosition& position);
/// The rights of a connection have changed.
[[nodiscard]] std::string session_text(bool is_operator);
[[nodiscard]] std::string error_text(std::string_view message, std::optional<std::int64_t> request);

/// Stable number of an event below 2^53: FNV-1a (64 bits, upper 53) over both times, key and text, so that the stream
/// and the stored tape agree without a counter that survives restarts.
[[nodiscard]] std::uint64_t event_number(const Event& event) noexcept;

} // namespace turnstone
