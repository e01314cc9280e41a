#pragma once
/// How lines leave this computer.
#include <cstddef>
#include <memory>
#include <string>

#include "server/live_out/target.hpp"

namespace turnstone {

class Way {
  public:
    virtual ~Way() = default;
    /// Lines go together up to so many octets; one that is longer goes alone.
    [[nodiscard]] virtual std::size_t most_bytes() const noexcept = 0;
    virtual void send(const std::string& lines) = 0;
    /// Called every now and then, and before what is sent; may take as long as the network does.
    virtual void turn() {}
};

/// Throws std::exception where this computer has no such way.
[[nodiscard]] std::unique_ptr<Way> make_way(const UdpTarget& target);
[[nodiscard]] std::unique_ptr<Way> make_way(const BrokerTarget& target);

} // namespace turnstone
