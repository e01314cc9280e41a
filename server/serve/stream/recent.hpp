#pragma once
/// The last moments of the live tape as they were sent. Rows reach the recording's file up to two seconds after the
/// stream, so a viewer that joins finds in neither what the stream brought just before: it gets this first.
#include <cstddef>
#include <cstdint>
#include <deque>
#include <vector>

#include "server/serve/stream/outbox.hpp"

namespace turnstone {

class Recent {
  public:
    /// `t_ns`: station time at which it was made.
    void add(LiveMessage message, std::int64_t t_ns);
    void clear() noexcept;
    /// In order.
    [[nodiscard]] std::vector<LiveMessage> messages() const;

  private:
    struct Entry {
        LiveMessage message;
        std::int64_t t_ns;
    };
    std::deque<Entry> entries_;
    std::size_t bytes_ = 0;
};

} // namespace turnstone
