#pragma once
/// What the server counts since its start. Serve thread only.
#include <array>
#include <cstddef>
#include <cstdint>

namespace turnstone {

struct ServeCounters {
    std::array<std::uint64_t, 6> http_answers{}; ///< by first digit of the status
    std::uint64_t operator_refusals = 0;
    std::size_t viewers = 0; ///< at this moment
    std::uint64_t viewers_accepted = 0;
    std::uint64_t viewers_refused = 0;
    std::uint64_t blocks_made = 0;
    std::uint64_t messages_sent = 0;
    std::uint64_t bytes_sent = 0;
    std::uint64_t fell_behind = 0;
    std::uint64_t blocks_left_out = 0;
    std::uint64_t coalesced = 0;
    std::uint64_t closed_slow = 0;
    std::uint64_t batches_dropped = 0;
};

} // namespace turnstone
