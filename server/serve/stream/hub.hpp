#pragma once
/// Sends the live tape to the viewers that follow it, and gives the others their replays. begin() and publish() may be
/// called from the ingest thread; everything else belongs to the serve thread.
#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>

#include "server/serve/counters.hpp"
#include "server/serve/encode/blocks.hpp"
#include "server/serve/live_recording.hpp"
#include "server/serve/settings.hpp"
#include "server/serve/stream/inbox.hpp"
#include "server/serve/stream/led_debrief.hpp"
#include "server/serve/stream/recent.hpp"
#include "server/serve/stream/replay.hpp"
#include "server/serve/stream/viewer.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

/// Who leads, and is told so. They change while connections last.
struct OperatorRights {
    std::function<bool(const Client&)> holds;
    std::function<std::uint64_t()> revision; ///< another number whenever somebody's may have changed
};

class Hub final : private ViewerHost {
  public:
    /// All must outlive it.
    Hub(boost::asio::io_context& context, const ServeSettings& settings, const ServeSources& sources, Workers& workers,
        Budgets& budgets, LiveRecording& live, ServeCounters& counters, OperatorRights rights);

    void begin(LiveTape tape);
    void publish(std::shared_ptr<const Batch> batch);

    void start();
    /// Closes every viewer with 1001.
    void stop();
    [[nodiscard]] std::size_t viewers() const noexcept { return audience_.size(); }
    /// A connection after its handshake; `place`: its lease of Budget::viewers; `early`: bytes the client sent right
    /// after it.
    void welcome(boost::asio::ip::tcp::socket socket, const Client& client, Lease place,
                 std::span<const std::byte> early);

  private:
    struct Member {
        std::shared_ptr<Viewer> viewer;
        std::shared_ptr<Replay> replay;      ///< null: follows the live tape
        Viewer::Clock::time_point status_at; ///< when its next one is due
        bool follows = true;                 ///< whoever leads a debrief
        std::uint64_t led_told = 0;          ///< revision of the position it was told last
        bool is_operator = false;            ///< as it was told; this and the next
        std::uint64_t rights_told = 0;       ///< their revision then
    };

    void request(Viewer& viewer, ClientMessage message) override;
    [[nodiscard]] WireMessage newest_rows() override;
    void left(Viewer& viewer) override;

    void tell_to_take();
    void take_inbox();
    void take_tape(LiveTape tape);
    /// Adds what viewers get of it to `messages`.
    void take_batch(const Batch& batch, std::vector<LiveMessage>& messages);
    void send_out(std::vector<LiveMessage>& messages);
    void open_replay(Member& member, ClientMessage message);
    void lead(const Member& member, const LeadDebrief& lead, std::optional<std::int64_t> request);
    void tell_followers();
    void take_overflow(const Inbox::Overflow& overflow);
    void remember_rows(const Batch& batch);
    void send_hello(Member& member);
    void tell_rights(Member& member);
    [[nodiscard]] Client asking(const Viewer& viewer) const;
    void run_clock();
    void look_after(std::size_t count);
    [[nodiscard]] Audience audience() const;
    [[nodiscard]] WireMessage status() const;
    [[nodiscard]] Member* find(const Viewer& viewer);

    boost::asio::io_context& context_;
    const ServeSettings& settings_;
    const ServeSources& sources_;
    LiveRecording& live_;
    Budgets& budgets_;
    ServeCounters& counters_;
    const OperatorRights rights_;
    const ReplaySource replay_source_;
    Inbox inbox_; ///< the only member both threads touch

    boost::asio::steady_timer clock_;
    bool stopping_ = false;
    std::vector<Member> audience_;
    std::size_t first_served_ = 0; ///< rotates, so that nobody is always last
    std::size_t looked_after_ = 0; ///< whose turn it is
    std::uint64_t seq_ = 0;        ///< of the next block message
    Recent recent_;
    LatestRows latest_;
    LedDebrief debrief_;
    BlockEncoder encoder_;
    std::array<WireMessage, 2> hello_; ///< by role; null: has to be made
    std::uint64_t hello_revision_ = 0; ///< of `live_` that they were made for
    WireMessage newest_;               ///< made once for all viewers; null: has to be made
};

} // namespace turnstone
