#pragma once
/// A viewer's messages that wait for its socket, bounded. A slow viewer's blocks are left out and replaced by a `gap`
/// text and one newest-values message (STREAM.md, slow viewers); events and answers are kept. Knows no socket.
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <variant>

#include <sys/uio.h>

#include "server/serve/counters.hpp"
#include "server/serve/encode/blocks.hpp"
#include "server/serve/encode/messages.hpp"
#include "server/serve/parse/websocket_frame.hpp"
#include "server/serve/settings.hpp"

namespace turnstone {

/// An event of the live tape, or a block of its rows.
using LiveMessage = std::variant<WireMessage, BlockMessage>;

class Outbox {
  public:
    using Clock = std::chrono::steady_clock;
    /// Both must outlive it.
    Outbox(const QueueLimits& limits, ServeCounters& counters) : limits_(limits), counters_(counters) {}

    /// Never dropped: event, error, answers, blocks of a replay.
    void keep(WireMessage message);
    /// Never dropped, and in nobody's way: hello and the blocks after it. They are shared by all viewers.
    void open_with(WireMessage message);
    /// Only the newest waits.
    void status(WireMessage message);
    /// What became of the live tape since the last call, in order.
    void live(std::span<const LiveMessage> messages);
    /// Blocks that no viewer gets.
    void gap(const Gap& missing);
    /// What the viewer missed of the tape before no longer matters.
    void forget_gap() noexcept { gap_.reset(); }
    /// Blocks are being left out.
    [[nodiscard]] bool behind() const noexcept { return gap_.has_value(); }
    [[nodiscard]] bool behind_too_long(Clock::time_point now) const;
    /// What waits behind the message that is on its way is more than a viewer that reads leaves waiting.
    [[nodiscard]] bool above_hard_limit() const noexcept;
    /// For a viewer that is behind and whose queue is empty: tells the gap, sends the newest values instead.
    void catch_up(WireMessage newest_rows);
    /// Makes `message` the last one. Blocks and statuses at the end of the queue give way to it; with `all` everything
    /// does. A message that is partly out is finished.
    void end_with(WireMessage message, bool all);
    void clear() noexcept;

    [[nodiscard]] bool empty() const noexcept { return queue_.empty(); }
    [[nodiscard]] std::size_t bytes() const noexcept { return bytes_; }

    /// What to write next, in order: the parts that were filled.
    [[nodiscard]] std::span<iovec> next(std::span<iovec> parts) const;
    /// The kernel took this many bytes of it.
    void sent(std::size_t bytes);

  private:
    enum class Kind : unsigned char { kept, opening, status, block };
    struct Entry {
        WireMessage message;
        Kind kind = Kind::kept;
        std::uint64_t seq = 0; ///< this and the times: of a block
        double from_t_s = 0, to_t_s = 0;
    };

    void push(Entry entry);
    /// Of opening messages, without what was sent.
    [[nodiscard]] std::size_t opening_left() const noexcept;
    void block(const BlockMessage& message, std::size_t limit_bytes);
    void leave_blocks_out();
    void extend_gap(const Gap& more);

    const QueueLimits& limits_;
    ServeCounters& counters_;
    std::deque<Entry> queue_;
    std::size_t front_sent_ = 0;    ///< bytes of the front entry the kernel has
    std::size_t bytes_ = 0;         ///< of the queue, without what was sent
    std::size_t opening_bytes_ = 0; ///< of opening messages in the queue, whole
    std::optional<Gap> gap_;
    Clock::time_point behind_since_{};
};

} // namespace turnstone
