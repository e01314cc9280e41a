#pragma once
/// The one port: dashboard, HTTP API and WebSocket stream as protocol/STREAM.md says.
///
/// One serve thread owns every connection; SQLite is read on a few worker threads. Nothing here is ever waited for by
/// the threads that make the data: publish() hands over a pointer and returns.
#include <chrono>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "server/pipeline/batch.hpp"
#include "server/pipeline/pipeline.hpp"
#include "server/record/write/recorder.hpp"
#include "server/serve/assets.hpp"
#include "server/serve/random_key.hpp"
#include "shared/result.hpp"

namespace turnstone {

struct ServeSettings {
    std::string listen_address = "127.0.0.1"; ///< numeric IPv4 or IPv6; "0.0.0.0" or "::" for every interface
    std::uint16_t port = 8321;                ///< 0: one the system chooses, see Server::port()
    std::vector<std::string> host_names; ///< names browsers may use for this server besides its addresses, without port
    std::filesystem::path recordings;
    std::string operator_key;      ///< at least 16 characters; see random_key.hpp
    std::span<const Asset> assets; ///< must outlive the server
    std::size_t viewers_max = 1200;
    std::size_t workers = 2; ///< threads that read recordings

    /// Slow viewers (STREAM.md): above `soft` queued blocks are replaced by one newest-values message; above `hard`, or
    /// above `soft` for `soft_time`, the viewer is closed with 4408.
    std::size_t queue_soft_bytes = 256u << 10;
    std::size_t queue_hard_bytes = 4u << 20;
    std::chrono::milliseconds queue_soft_time{30'000};
    /// Kernel send buffer of a viewer: small, so that a slow phone shows up in our queue and not behind it.
    int send_buffer_bytes = 64 << 10;
};

/// A link as `status` and /metrics show it.
struct LinkView {
    std::string name;
    LinkState state = LinkState::opening;
    std::string detail; ///< why, for a person; empty when nothing is wrong
    std::uint64_t bytes = 0;
    std::int64_t t_last_ns = 0; ///< station time of the newest byte; 0: none yet
};

/// What the server asks others. Called on the serve thread, often; must be thread-safe and must not wait.
struct ServeSources {
    std::function<std::int64_t()> station_now_ns;
    std::function<std::vector<LinkView>()> links;
    std::function<RecorderStatus()> recorder;
    std::function<std::string()> metrics; ///< further lines in text exposition format 0.0.4; may be empty
};

/// What an operator may do. Called on the serve thread; must hand over and return.
struct OperatorActions {
    std::function<void(Action action)> action; ///< for Pipeline::action
    std::function<void(std::string name)>
        new_recording; ///< close the live recording, begin a new one; begin_recording() follows
    std::function<void(std::string key, std::string value)> set_live_meta; ///< key "name" or "notes"
};

/// The tape whose head moves.
struct LiveTape {
    std::string id;
    std::string name;
    std::int64_t t_start_ns = 0;
    std::int64_t utc_start_ns = 0;
    std::shared_ptr<const Schema> schema; ///< what the published batches' rows refer to
    std::shared_ptr<const PipelineSetup> setup;
};

class Server {
  public:
    Server(ServeSettings settings, ServeSources sources, OperatorActions actions);
    ~Server(); ///< stop() with a deadline of one second
    Server(const Server&) = delete;
    Server& operator=(const Server&) = delete;

    /// Binds, starts the threads. Fails with the address and what to do when the port is taken or the address is not
    /// ours.
    [[nodiscard]] Result<void> start();
    [[nodiscard]] std::uint16_t port() const noexcept; ///< as bound; valid after start()
    /// "http://192.168.1.20:8321/" for each address that reaches the server, loopback first.
    [[nodiscard]] std::vector<std::string> addresses() const;

    /// Every read connection to a recording is closed as soon as its present read is done, so that the recorder can
    /// leave one clean file. Call it before the recorder is told to close one.
    void release_recordings();
    /// The tape changes: every live viewer gets a new `hello`; batches published afterwards belong to it. Releases the
    /// recordings as well: a viewer may have asked in between.
    void begin_recording(LiveTape tape);
    /// One flush of the ingest thread. Returns at once. Call begin_recording first.
    void publish(std::shared_ptr<const Batch> batch);

    /// Takes no new connections, closes viewers with 1001, lets answers under way finish until the deadline, then ends.
    void stop(std::chrono::milliseconds deadline);

  private:
    struct State;
    std::unique_ptr<State> state_;
};

} // namespace turnstone
