#pragma once
/// The live tape as the serve thread knows it, and the viewers it goes to. publish() and begin() may be called from the
/// ingest thread; everything else belongs to the serve thread.
#include <array>
#include <cstdint>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <unordered_set>
#include <variant>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>

#include "server/serve/encode/blocks.hpp"
#include "server/serve/encode/messages.hpp"
#include "server/serve/server.hpp"
#include "server/serve/stream/viewer.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

/// Since the start of the server; serve thread only.
struct ServeCounters {
    std::array<std::uint64_t, 6> http_answers{}; ///< by first digit of the status
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
    std::uint64_t operator_refusals = 0;
};

class Hub {
  public:
    Hub(boost::asio::io_context& context, const ServeSettings& settings, const ServeSources& sources,
        const OperatorActions& actions, Workers& workers);

    void begin(LiveTape tape);
    void publish(std::shared_ptr<const Batch> batch);

    void start();
    /// Closes every viewer with 1001 and stops the clock that feeds them.
    void stop();
    void add(std::shared_ptr<Viewer> viewer);
    void remove(std::shared_ptr<Viewer> viewer);
    void send_hello(Viewer& viewer);
    /// The coalesced message of this moment, made once for all who need it.
    [[nodiscard]] WireMessage newest_rows();
    void set_live_meta(const std::string& key, const std::string& value);

    [[nodiscard]] boost::asio::io_context& context() noexcept { return context_; }
    [[nodiscard]] const ServeSettings& settings() const noexcept { return settings_; }
    [[nodiscard]] const ServeSources& sources() const noexcept { return sources_; }
    [[nodiscard]] const OperatorActions& actions() const noexcept { return actions_; }
    [[nodiscard]] Workers& workers() noexcept { return workers_; }
    [[nodiscard]] ServeCounters& counters() noexcept { return counters_; }
    [[nodiscard]] const std::optional<LiveTape>& tape() const noexcept { return tape_; }
    [[nodiscard]] const std::string& server_id() const noexcept { return server_id_; }
    [[nodiscard]] std::size_t viewers() const noexcept { return viewers_.size(); }
    /// What is known of the live recording without its file; call only with a tape.
    [[nodiscard]] RecordingInfo live_info() const;
    /// Text exposition format 0.0.4: own counters, recorder, links and further sources.
    [[nodiscard]] std::string metrics() const;

  private:
    void take_inbox();
    void take_tape(LiveTape tape);
    void take_batch(const Batch& batch);
    void take_gap(const Gap& gap);
    void run_clock();
    void send_status();

    boost::asio::io_context& context_;
    const ServeSettings& settings_;
    const ServeSources& sources_;
    const OperatorActions& actions_;
    Workers& workers_;
    const std::string server_id_;

    // Serve thread only.
    boost::asio::steady_timer clock_;
    unsigned clock_ticks_ = 0;
    bool stopping_ = false;
    std::unordered_set<std::shared_ptr<Viewer>> viewers_;
    std::optional<LiveTape> tape_;
    std::string live_notes_;
    std::uint64_t seq_ = 0; ///< of the next block message
    std::int64_t newest_ns_ = 0;
    LatestRows latest_;
    BlockEncoder encoder_;
    std::array<WireMessage, 2> hello_; ///< by role; null: has to be made
    WireMessage newest_;               ///< null: has to be made
    ServeCounters counters_;

    // Between the ingest thread and the serve thread.
    struct Overflow {
        std::uint64_t batches = 0;
        std::int64_t from_ns = 0, to_ns = 0;
    };
    std::mutex inbox_mutex_; // guards the two below
    std::vector<std::variant<LiveTape, std::shared_ptr<const Batch>>> inbox_;
    Overflow overflow_;
};

} // namespace turnstone
