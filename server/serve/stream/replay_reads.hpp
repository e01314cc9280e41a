#pragma once
/// Reads of one recording for a replay: a cursor in, messages and a new cursor out. Run on worker threads; no viewer in
/// sight.
#include <cstdint>
#include <string>
#include <vector>

#include "server/record/read/reader.hpp"
#include "server/serve/encode/messages.hpp"
#include "server/serve/parse/client_message.hpp"
#include "server/serve/parse/websocket_frame.hpp"

namespace turnstone {

/// Station times of a replayed tape.
struct ReplayTimes {
    std::int64_t t_start_ns = 0;
    std::int64_t t_end_ns = 0;
    std::int64_t cursor_ns = 0; ///< rows up to and at this time have been shown
};

/// What a read brings back.
struct ReplayRead {
    std::string error;  ///< not empty: what could not be done; nothing else is filled in then
    std::string damage; ///< not empty: why the recording gave less than it should
    ReplayTimes times;
    std::vector<WireMessage> messages; ///< in order, before the position
    std::string latest;                ///< JSON text; empty: none to be told
    std::uint64_t blocks = 0;          ///< block messages among `messages`
};

/// The tape from its start: `hello` and the values there.
[[nodiscard]] ReplayRead read_opening(RecordingReader& reader, const HelloParts& parts, bool live);
/// The values at `times.cursor_ns`.
[[nodiscard]] ReplayRead read_cursor(RecordingReader& reader, const ReplayTimes& times);
/// The values at the next or previous row of any table, or of any packet's.
[[nodiscard]] ReplayRead read_step(RecordingReader& reader, const ReplayTimes& times, const StepReplay& step);
/// Rows and events after the cursor, up to and at `target_ns` or until one message is full.
[[nodiscard]] ReplayRead read_on(RecordingReader& reader, const ReplayTimes& times, std::int64_t target_ns,
                                 std::uint64_t seq);

} // namespace turnstone
