#pragma once
/// A running server on a port of its own, with a hand-made tape: the one of tests/golden/stream.
#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "server/serve/server.hpp"
#include "tests/serve/client.hpp"
#include "tests/support/temporary_folder.hpp"

inline constexpr std::int64_t kTapeStartNs = 1779028325000000000; // 2026-05-17T14:32:05Z
inline constexpr const char* kOperatorKey = "0123456789abcdef0123456789abcdef";
inline constexpr const char* kTapeId = "2026-05-17T143205Z-sanderling";

/// Tables of tests/golden/stream/hello.json.
std::shared_ptr<const turnstone::Schema> golden_schema();
/// Site, vehicle and link of tests/golden/stream/hello.json; the texts are the demo's, as a recording keeps them.
std::shared_ptr<const turnstone::PipelineSetup> golden_setup();
turnstone::LiveTape golden_tape();

std::string golden_text(const std::string& name);  ///< a file of tests/golden/stream
std::string golden_bytes(const std::string& name); ///< a .hex file, decoded

/// Adds a row; t_s since kTapeStartNs.
void add_row(turnstone::Batch& batch, turnstone::TableId table, double t_s, const std::vector<double>& numbers,
             const std::vector<std::string>& texts = {});
turnstone::Event make_event(double t_s, const std::string& key, const std::string& text);

/// Writes and closes a recording of 10 s through the recorder: table 0 at 200 Hz (accel = t_s, rate = 1), table 1 at 25
/// Hz (pressure = 87850 - row number), table 2 at 10 Hz, an event at 3.25 s. Returns its id.
std::string record_flight(const std::filesystem::path& folder);

class LiveServer {
  public:
    explicit LiveServer(const std::function<void(turnstone::ServeSettings&)>& adjust = {}, bool with_tape = true);
    void publish(turnstone::Batch batch);
    [[nodiscard]] std::uint16_t port() const { return server->port(); }
    [[nodiscard]] HttpReply get(const std::string& target, const Fields& fields = {}) const;
    [[nodiscard]] HttpReply post(const std::string& target, const std::string& body, const Fields& fields = {}) const;
    /// Gives the key and returns the Cookie field of an operator.
    [[nodiscard]] Fields operator_cookie() const;
    /// Operator actions that arrived, e.g. `cut:second flight`.
    [[nodiscard]] std::vector<std::string> actions() const;
    void set_recorder(turnstone::RecorderStatus status);

    turnstone::test::TemporaryFolder folder;
    std::unique_ptr<turnstone::Server> server;

  private:
    mutable std::mutex mutex_;
    std::vector<std::string> actions_;
    turnstone::RecorderStatus recorder_;
};
