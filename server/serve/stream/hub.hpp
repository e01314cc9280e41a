#pragma once
/// Sends the live tape to the viewers that follow it, and gives the others their replays. begin() and publish() may be
/// called from the ingest thread; everything else belongs to the serve thread.
#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <unordered_map>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>

#include "server/serve/counters.hpp"
#include "server/serve/encode/blocks.hpp"
#include "server/serve/live_recording.hpp"
#include "server/serve/settings.hpp"
#include "server/serve/stream/inbox.hpp"
#include "server/serve/stream/replay.hpp"
#include "server/serve/stream/viewer.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

class Hub final : private ViewerHost {
  public:
    /// All must outlive it.
    Hub(boost::asio::io_context& context, const ServeSettings& settings, const ServeSources& sources, Workers& workers,
        LiveRecording& live, ServeCounters& counters);

    void begin(LiveTape tape);
    void publish(std::shared_ptr<const Batch> batch);

    void start();
    /// Closes every viewer with 1001.
    void stop();
    [[nodiscard]] bool is_full() const noexcept { return audience_.size() >= settings_.viewers_max; }
    [[nodiscard]] std::size_t viewers() const noexcept { return audience_.size(); }
    /// A connection after its handshake; `early`: bytes the client sent right after it.
    void welcome(boost::asio::ip::tcp::socket socket, bool is_operator, std::span<const std::byte> early);

  private:
    struct Member {
        std::shared_ptr<Viewer> viewer;
        std::shared_ptr<Replay> replay; ///< null: follows the live tape
    };

    void request(Viewer& viewer, ClientMessage message) override;
    [[nodiscard]] WireMessage newest_rows() override;
    void left(Viewer& viewer) override;

    void tell_to_take();
    void take_inbox();
    void take_tape(LiveTape tape);
    void take_batch(const Batch& batch);
    void take_overflow(const Inbox::Overflow& overflow);
    void remember_rows(const Batch& batch);
    void send_hello(Viewer& viewer);
    void run_clock();
    void send_status();

    boost::asio::io_context& context_;
    const ServeSettings& settings_;
    const ServeSources& sources_;
    LiveRecording& live_;
    ServeCounters& counters_;
    const ReplaySource replay_source_;
    Inbox inbox_; ///< the only member both threads touch

    boost::asio::steady_timer clock_;
    unsigned clock_ticks_ = 0;
    bool stopping_ = false;
    std::unordered_map<const Viewer*, Member> audience_;
    std::uint64_t seq_ = 0; ///< of the next block message
    LatestRows latest_;
    BlockEncoder encoder_;
    std::array<WireMessage, 2> hello_; ///< by role; null: has to be made
    std::uint64_t hello_revision_ = 0; ///< of `live_` that they were made for
    WireMessage newest_;               ///< made once for all viewers; null: has to be made
};

} // namespace turnstone
