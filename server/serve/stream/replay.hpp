#pragma once
/// A stored tape as one viewer watches it: a cursor that is set, played and stepped, with the same block messages as
/// live. Lives on the serve thread; every read is a job of the workers, one at a time.
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>

#include "server/serve/live_recording.hpp"
#include "server/serve/parse/client_message.hpp"
#include "server/serve/stream/replay_reads.hpp"
#include "server/serve/stream/viewer.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

/// What every replay reads from.
struct ReplaySource {
    boost::asio::io_context& context;
    Workers& workers;
    const LiveRecording& live;
    std::filesystem::path recordings;
    std::function<bool(const Client&)> is_operator;
    std::string server_id;
    std::size_t queue_bytes_max; ///< the tape of a viewer with a longer queue waits
};

class Replay : public std::enable_shared_from_this<Replay> {
  public:
    /// `source` must outlive it. `place`: its lease of Budget::replays.
    Replay(const ReplaySource& source, const std::shared_ptr<Viewer>& viewer, Lease place);
    /// Answered with a `replay` or `error` text. When seeks come faster than they can be served, only the newest is.
    void request(ClientMessage message);
    /// The viewer is back at the live tape: nothing more is sent.
    void stop();
    /// Its id; empty: none is open.
    [[nodiscard]] std::string recording() const { return opened_ ? opened_place_.id : std::string(); }

  private:
    using Clock = std::chrono::steady_clock;
    using Request = std::optional<std::int64_t>; ///< what the answer echoes
    using Work = std::function<ReplayRead(RecordingReader&)>;
    using Then = std::function<void(const ReplayRead&)>;

    void next();
    void wait_for_reader();
    void run(const ClientMessage& message);
    void open(const std::string& id, Request request);
    void seek(double t_s, Request request);
    void step(const StepReplay& step, Request request);
    void play(double rate, Request request);
    void pause(Request request);
    void play_on();
    void wait_for_tick();
    /// `then` only when the read gave no error.
    void read(Lane lane, Work work, Request request, Then then);
    void finish(const ReplayRead& read, Request request, const Then& then);
    void tell(Request request, const std::string& latest);
    void complain(std::string_view message, Request request);
    /// Null: gone, closing, or back at the live tape.
    [[nodiscard]] std::shared_ptr<Viewer> viewer() const;

    const ReplaySource& source_;
    const std::weak_ptr<Viewer> viewer_;
    const Client client_;
    const Lease place_;
    boost::asio::steady_timer timer_; ///< while playing
    boost::asio::steady_timer pause_; ///< while requests wait for the viewer to read the answers it has
    std::deque<ClientMessage> waiting_;
    bool stopped_ = false;
    bool busy_ = false;
    bool opened_ = false;
    RecordingPlace opened_place_;
    std::string damage_told_; ///< of the recording that is open
    ReplayTimes times_;
    bool playing_ = false;
    double rate_ = 1;
    std::uint64_t seq_ = 0;
    unsigned ticks_ = 0;
    Clock::time_point played_at_{};
};

} // namespace turnstone
