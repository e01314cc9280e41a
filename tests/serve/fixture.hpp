#pragma once
/// A running server on a port of its own, with the tape of tests/golden/stream.
#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "server/serve/port/server.hpp"
#include "tests/serve/client.hpp"
#include "tests/serve/golden_tape.hpp"
#include "tests/support/temporary_folder.hpp"

inline constexpr const char* kOperatorKey = "0123456789abcdef0123456789abcdef";

/// How tests serve, where they are not about these values: on a port that the system chooses.
turnstone::ServeSettings serve_settings(const std::filesystem::path& recordings);

/// Begins a recording at the golden tape's time.
std::string begin_recording(turnstone::Recorder& recorder, const turnstone::Schema& schema,
                            const std::string& name = "");

/// Writes and closes a recording of 10 s through the recorder: table 0 at 200 Hz (accel = t_s, rate = 1), table 1 at 25
/// Hz (pressure = 87850 - row number), table 2 at 10 Hz, an event at 3.25 s. Returns its id.
std::string record_flight(const std::filesystem::path& folder);

class LiveServer {
  public:
    explicit LiveServer(const std::function<void(turnstone::ServeSettings&)>& adjust = {}, bool with_tape = true);
    void publish(turnstone::Batch batch) const;
    [[nodiscard]] std::uint16_t port() const { return server->port(); }
    [[nodiscard]] HttpReply get(const std::string& target, const Fields& fields = {}) const;
    [[nodiscard]] HttpReply post(const std::string& target, const std::string& body, const Fields& fields = {}) const;
    /// Gives the key and returns the Cookie field of an operator.
    [[nodiscard]] Fields operator_cookie() const;
    /// Operator actions that arrived, e.g. `recording:second flight`.
    [[nodiscard]] std::vector<std::string> actions() const;
    /// Who became operator and who is not any more, as recorded.
    [[nodiscard]] std::vector<turnstone::OperatorChange> operator_changes() const;
    void set_recorder(turnstone::RecorderStatus status);
    /// What becomes of operator actions from now on; until then they are recorded at once.
    void record_by(std::function<void(turnstone::OwedReceipt)> record);

    turnstone::test::TemporaryFolder folder;
    std::unique_ptr<turnstone::Server> server;

  private:
    mutable std::mutex mutex_;
    std::vector<std::string> actions_;
    std::vector<turnstone::OperatorChange> operator_changes_;
    std::function<void(turnstone::OwedReceipt)> record_ = [](turnstone::OwedReceipt receipt) { receipt.give(); };
    turnstone::RecorderStatus recorder_;
};
