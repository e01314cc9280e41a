#pragma once
/// One connection to an MQTT broker (OASIS MQTT 5.0 or 3.1.1), through libmosquitto. For one thread, which calls turn()
/// again and again; callbacks come from within turn(). It connects once: after a failure, make another one.
#include <cstddef>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>

#include "server/broker/access.hpp"
#include "shared/result.hpp"

namespace turnstone {

struct BrokerCallbacks {
    std::function<void()> on_connected = {};
    /// The broker sends from now on what comes where subscribe() asked for.
    std::function<void()> on_subscribed = {};
    std::function<void(std::span<const std::byte> payload)> on_message = {};
    /// The broker has the message with this number; or it does not take it, and says why.
    std::function<void(int message, const std::string& refused)> on_acknowledged = {};
};

class BrokerClient {
  public:
    /// How the broker knows this client: another one with this name throws it out. `keeps_session`: the broker keeps
    /// what is subscribed to for an hour, and what comes in that time for when this client is back.
    BrokerClient(const BrokerAccess& access, const std::string& name, bool keeps_session, BrokerCallbacks callbacks);
    ~BrokerClient();
    BrokerClient(const BrokerClient&) = delete;
    BrokerClient& operator=(const BrokerClient&) = delete;

    /// Looks the name up and connects: may take as long as the network does, two minutes where nothing answers.
    [[nodiscard]] Result<void> connect();
    /// Waits up to `wait_ms` for something to do and does it. Fails when the connection is over or was refused.
    [[nodiscard]] Result<void> turn(int wait_ms);

    /// With QoS 1. Returns the number that on_acknowledged gets.
    [[nodiscard]] Result<int> publish(const std::string& topic, std::span<const std::byte> payload, bool retained);
    [[nodiscard]] Result<void> subscribe(const std::string& topic);
    /// Says goodbye, so that the broker does not wait for this client.
    void disconnect() noexcept;

  private:
    struct State;
    std::unique_ptr<State> state_;
};

} // namespace turnstone
