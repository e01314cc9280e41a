#pragma once
/// How others come to this station: its addresses, and a code for each that a phone can scan.
#include <functional>
#include <string>
#include <utility>
#include <vector>

#include "server/serve/http/answer.hpp"

namespace turnstone {

class JoinRoutes {
  public:
    using Addresses = std::function<std::vector<std::string>()>;
    explicit JoinRoutes(Addresses addresses) : addresses_(std::move(addresses)) {}
    /// GET /api/join
    [[nodiscard]] Answer list(const Request& request) const;
    /// GET /api/join.svg?address=... : one of those in the list; of others no code is made.
    [[nodiscard]] Answer code(const Request& request) const;

    [[nodiscard]] std::vector<std::string> addresses() const { return addresses_(); }

  private:
    Addresses addresses_;
};

} // namespace turnstone
