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
};

struct ClientMessage {
    std::variant<FollowLive, OpenReplay, SeekReplay, PlayReplay, PauseReplay, StepReplay, AskTime> what;
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
