#pragma once
/// A stored tape as one viewer watches it: a cursor that is set, played and stepped. The same block messages as live.
/// Lives on the serve thread; every read is a job of the workers, one at a time.
#include <chrono>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <memory>
#include <string>

#include <boost/asio/steady_timer.hpp>

#include "server/serve/encode/messages.hpp"
#include "server/serve/parse/client_message.hpp"
#include "server/serve/stream/hub.hpp"

namespace turnstone {

class Replay : public std::enable_shared_from_this<Replay> {
  public:
    Replay(Hub& hub, std::weak_ptr<Viewer> viewer);
    /// Answered with a `replay` or `error` text. Of seeks that come faster than they can be done only the newest is
    /// done.
    void request(ClientMessage message);

  private:
    /// What a job brings back to the serve thread.
    struct Outcome {
        std::string error;                 ///< not empty: what could not be done
        std::string damage;                ///< not empty: why the recording gave less than it should
        std::vector<WireMessage> messages; ///< in order, before the position
        std::int64_t cursor_ns = 0;
        std::int64_t t_start_ns = 0;
        std::int64_t t_end_ns = 0;
        std::string latest; ///< JSON text; empty: none to be told
        std::uint64_t blocks = 0;
    };
    using Work = std::function<Outcome(RecordingReader&)>;

    void next();
    void run(const ClientMessage& message);
    void open(const std::string& id, std::optional<std::int64_t> request);
    void seek(double t_s, std::optional<std::int64_t> request);
    void step(int rows, std::optional<std::int64_t> request);
    void play_on();
    void read(Work work, std::function<void(Outcome)> then);
    void wait_for_tick();
    void tell(std::optional<std::int64_t> request, const std::string& latest);
    void complain(std::string_view message, std::optional<std::int64_t> request);

    Hub& hub_;
    std::weak_ptr<Viewer> viewer_;
    boost::asio::steady_timer timer_;
    std::deque<ClientMessage> waiting_;
    bool busy_ = false;
    bool opened_ = false;
    std::filesystem::path path_;
    std::string damage_told_; ///< of the recording that is open
    std::int64_t t_start_ns_ = 0;
    std::int64_t t_end_ns_ = 0;
    std::int64_t cursor_ns_ = 0; ///< rows up to and at this time have been shown
    bool playing_ = false;
    double rate_ = 1;
    std::uint64_t seq_ = 0;
    unsigned ticks_ = 0;
    std::chrono::steady_clock::time_point played_at_{};
};

} // namespace turnstone
