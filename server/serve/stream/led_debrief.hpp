#pragma once
/// One leads, the others see where: the newest position and whose it is. Serve thread only.
#include <chrono>
#include <cstdint>

#include "server/serve/encode/messages.hpp"
#include "server/serve/parse/websocket_frame.hpp"

namespace turnstone {

class LedDebrief {
  public:
    using Clock = std::chrono::steady_clock;
    /// Positions that follow each other faster are passed over.
    static constexpr std::chrono::milliseconds kTellEvery{100};

    /// Whoever led before does no longer. `leader` is compared only.
    void lead(const void* leader, const LedPosition& position);
    /// Does nothing for one who does not lead.
    void end(const void* leader);

    [[nodiscard]] const void* leader() const noexcept { return leader_; }
    /// A new number after every change; 0: nobody has led yet.
    [[nodiscard]] std::uint64_t revision() const noexcept { return revision_; }
    /// There is something to tell, and the last time is long enough ago.
    [[nodiscard]] bool due(Clock::time_point now);
    [[nodiscard]] const WireMessage& message() const noexcept { return message_; }
    /// Somebody has not been told.
    void tell_again() noexcept { told_ = 0; }

  private:
    const void* leader_ = nullptr;
    std::uint64_t revision_ = 0;
    std::uint64_t told_ = 0;
    Clock::time_point told_at_{};
    WireMessage message_;
};

} // namespace turnstone
