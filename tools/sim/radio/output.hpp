#pragma once
/// Where the bytes go: a pseudo-terminal, a UDP peer, one TCP client, or a capture file.
#include <cstdint>
#include <memory>
#include <span>
#include <string_view>

#include "shared/result.hpp"

namespace turnstone::sim {

class Output {
  public:
    virtual ~Output() = default;
    /// Waits up to `seconds` for a listener; true when there is one, or none is needed.
    [[nodiscard]] virtual bool wait_for_reader(double seconds) = 0;
    /// Never blocks for long: unread bytes are dropped, as on a radio.
    virtual void write(std::span<const std::uint8_t> bytes) = 0;
    /// Pulls the cable, or puts it back. Outputs without a cable ignore it.
    virtual void unplug() {}
    [[nodiscard]] virtual Result<void> plug() { return {}; }
};

/// `uri` is one of
///   pty:PATH            a pseudo-terminal; PATH becomes a symbolic link to the side to open
///   udp://HOST:PORT     datagrams to HOST
///   tcp://ADDRESS:PORT  listens at this address, for one client at a time
///   file:PATH           a raw capture
[[nodiscard]] Result<std::unique_ptr<Output>> open_output(std::string_view uri);

} // namespace turnstone::sim
