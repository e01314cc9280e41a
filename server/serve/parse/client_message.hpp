#pragma once
/// What a viewer may say on the stream: the client texts of protocol/STREAM.md section 2.
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>

#include "shared/result.hpp"

namespace turnstone {

struct FollowLive {};
struct OpenReplay {
    std::string recording;
};
struct SeekReplay {
    double t_s;
};
struct PlayReplay {
    double rate;
};
struct PauseReplay {};
/// What time it is on the live tape.
struct AskTime {};
struct StepReplay {
    int rows;
    bool of_packets = false; ///< of packets alone, not of estimates and links
};
/// An operator shows the others where to look: of the recording that the connection has open.
struct LeadDebrief {
    bool end; ///< gives it up; the others are not about anything then
    double t_s = 0;
    bool playing = false;
    double rate = 1;
    std::string by = {}; ///< initials of who leads
};
struct FollowDebrief {
    bool follow;
};

struct ClientMessage {
    std::variant<FollowLive, OpenReplay, SeekReplay, PlayReplay, PauseReplay, StepReplay, AskTime, LeadDebrief,
                 FollowDebrief>
        what;
    std::optional<std::int64_t> request; ///< echoed in the answer
};

/// A text that is not a JSON object with a known "type" is `fatal` (the connection closes with 4400); a known request
/// with a wrong member is answered with an `error` text.
struct ClientMessageError {
    bool fatal;
    std::optional<std::int64_t> request;
    std::string message;
};

[[nodiscard]] tl::expected<ClientMessage, ClientMessageError> parse_client_message(std::string_view text);

} // namespace turnstone
