#pragma once
/// Sends decoded values to another program as they come, on a thread of its own. Nothing waits for it: what does not
/// fit its queue is left out, and the log says so.
#include <memory>
#include <thread>

#include "server/live_out/target.hpp"
#include "server/pipeline/batch.hpp"
#include "server/serve/live_tape.hpp"

namespace turnstone {

class LiveOut {
  public:
    explicit LiveOut(LiveTarget target);
    /// Sends what it has been given, unless that takes longer than a second or two.
    ~LiveOut();
    LiveOut(const LiveOut&) = delete;
    LiveOut& operator=(const LiveOut&) = delete;

    // From any thread; neither waits.
    void begins(const LiveTape& tape);
    void publish(std::shared_ptr<const Batch> batch); ///< of the tape that began last

  private:
    struct Shared;
    std::shared_ptr<Shared> shared_; ///< with the thread, which may be stuck in a look-up of the broker's name
    std::thread thread_;
};

} // namespace turnstone
