#pragma once
/// What the ingest thread hands to the serve thread. Putting never waits; when the serve thread stalls, rows are left
/// out and counted, events and tapes are kept.
#include <cstddef>
#include <cstdint>
#include <memory>
#include <mutex>
#include <variant>
#include <vector>

#include "server/pipeline/batch.hpp"
#include "server/serve/live_tape.hpp"

namespace turnstone {

class Inbox {
  public:
    using Item = std::variant<LiveTape, std::shared_ptr<const Batch>>;
    /// Batches whose rows are not among the items, and the times of those rows.
    struct Overflow {
        std::uint64_t batches = 0;
        std::int64_t from_ns = 0, to_ns = 0;
    };
    struct Contents {
        std::vector<Item> items;
        Overflow overflow;
    };

    // From the ingest thread. True: the inbox was empty, so the serve thread must be woken.
    [[nodiscard]] bool put(LiveTape tape);
    [[nodiscard]] bool put(std::shared_ptr<const Batch> batch);

    /// On the serve thread.
    [[nodiscard]] Contents take();

  private:
    std::mutex mutex_; // guards contents_
    Contents contents_;
};

} // namespace turnstone
