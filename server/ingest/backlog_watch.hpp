#pragma once
#include <cstdint>
#include <optional>

#include "server/pipeline/action.hpp"

namespace turnstone {

/// Tells when estimates have fallen behind the links, and when they have caught up: one moment of either is not enough.
class BacklogWatch {
  public:
    /// `behind_s` at station time `now_ns`; what to report, if anything. Ask a few times a second.
    [[nodiscard]] std::optional<Backlog> look(double behind_s, std::int64_t now_ns);
    /// A new tape: nothing has been reported on it.
    void forget() noexcept { *this = {}; }

  private:
    bool behind_ = false;
    std::optional<std::int64_t> changing_since_ns_;
};

} // namespace turnstone
