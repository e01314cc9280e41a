#pragma once
/// The ingest thread: links and pipeline on one io_context. It stamps nothing itself (links do), waits for nothing, and
/// every kFlushInterval hands what the pipeline made to the recorder and the viewers.
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "server/link/link.hpp"
#include "server/pipeline/action.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/setup.hpp"
#include "server/record/write/recorder.hpp"
#include "server/serve/port/server.hpp"

namespace turnstone {

inline constexpr std::chrono::milliseconds kFlushInterval{10};

/// Called on the ingest thread; must return at once.
struct IngestOutputs {
    /// A recording begins; batches that follow belong to it.
    std::function<void(LiveTape)> on_tape;
    std::function<void(std::shared_ptr<const Batch>)> on_batch;
    /// The live recording is about to be closed: readers of its file should let go of it. May be empty.
    std::function<void()> on_closing = {};
};

class Ingest {
  public:
    /// `uris[i]` is setup->links[i]. `recorder` must outlive the ingest.
    Ingest(std::shared_ptr<const PipelineSetup> setup, std::vector<LinkUri> uris, Recorder& recorder,
           IngestOutputs outputs);
    ~Ingest();
    Ingest(const Ingest&) = delete;
    Ingest& operator=(const Ingest&) = delete;

    /// Begins the first recording with `actions` as its first inputs, opens the links, starts the thread.
    void start(const std::vector<Action>& actions = {});
    /// Closes the links, hands over what is left, ends the thread. Safe to call twice.
    void stop();

    // From any thread; done on the ingest thread, in the order called.
    void action(Action action); ///< for Pipeline::action
    /// Loses no byte: an unfinished frame is carried over into the new recording.
    void new_recording(std::string name);
    void set_meta(std::string key, std::string value);

    /// From any thread.
    [[nodiscard]] std::vector<LinkView> links() const;

  private:
    struct State;
    std::unique_ptr<State> state_;
};

} // namespace turnstone
