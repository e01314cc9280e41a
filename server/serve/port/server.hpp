#pragma once
/// The one port: dashboard, HTTP API and WebSocket stream as protocol/STREAM.md says.
///
/// One serve thread owns every connection; a few worker threads read SQLite. The threads that make the data never wait
/// for any of it: publish() hands over a pointer and returns.
#include <chrono>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "server/pipeline/batch.hpp"
#include "server/serve/live_tape.hpp"
#include "server/serve/random_key.hpp"
#include "server/serve/settings.hpp"
#include "shared/result.hpp"

namespace turnstone {

class Server {
  public:
    Server(ServeSettings settings, ServeSources sources, OperatorActions actions);
    ~Server(); ///< stop() with a deadline of one second
    Server(const Server&) = delete;
    Server& operator=(const Server&) = delete;

    /// Binds, starts the threads. Fails with the address and what to do when the port is taken or the address is not
    /// this machine's.
    [[nodiscard]] Result<void> start();
    [[nodiscard]] std::uint16_t port() const noexcept; ///< as bound; valid after start()
    /// Whether what was bound leaves other machines out; valid after start().
    [[nodiscard]] bool is_loopback_only() const;
    /// SHA-256, as browsers show it; empty without https.
    [[nodiscard]] const std::string& certificate_fingerprint() const noexcept;
    /// "http://192.168.1.20:8321/" for each address that reaches the server, loopback first; with https also that,
    /// after each.
    [[nodiscard]] std::vector<std::string> addresses() const;

    /// Closes every read connection to a recording as soon as its present read is done, so that the recorder can leave
    /// one clean file. Call it before telling the recorder to close one.
    void release_recordings();
    /// The tape changes: every live viewer gets a new `hello`, and later batches belong to the new tape. Releases the
    /// recordings too, since a viewer may have opened one meanwhile.
    void begin_recording(LiveTape tape);
    /// One flush of the ingest thread. Returns at once. Call begin_recording first.
    void publish(std::shared_ptr<const Batch> batch);

    /// Accepts no new connections, closes viewers with 1001, lets answers under way finish until the deadline, then
    /// ends.
    void stop(std::chrono::milliseconds deadline);

  private:
    struct State;
    std::unique_ptr<State> state_;
};

} // namespace turnstone
