#pragma once
/// The thread that runs the pipeline: takes what was received, hands on what follows from it. A slow computer makes it
/// late; it never makes reception late.
#include <atomic>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <limits>
#include <memory>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "server/ingest/input_queue.hpp"
#include "server/ingest/prediction_thread.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/setup.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/recorder.hpp"
#include "server/serve/live_tape.hpp"

namespace turnstone {

/// Called on the interpreter's thread; must return at once.
struct IngestOutputs {
    /// A tape begins; batches that follow belong to it.
    std::function<void(LiveTape)> on_tape;
    std::function<void(std::shared_ptr<const Batch>)> on_batch;
    /// The live recording is about to be closed: readers of its file should let go of it. May be empty.
    std::function<void()> on_closing = {};
};

class Interpreter {
  public:
    /// `queue` and `recorder` must outlive it.
    Interpreter(std::shared_ptr<const PipelineSetup> setup, std::filesystem::path recordings, InputQueue& queue,
                Recorder& recorder, IngestOutputs outputs);
    ~Interpreter();
    Interpreter(const Interpreter&) = delete;
    Interpreter& operator=(const Interpreter&) = delete;

    /// After the queue was stopped: returns once everything in it has been dealt with. Safe to call twice.
    void join();
    /// Station time since when inputs are needed by a new recording. From any thread.
    [[nodiscard]] std::int64_t needs_since_ns() const noexcept { return needs_since_ns_; }

  private:
    void run();
    void take(const std::shared_ptr<const Inputs>& inputs);
    void take(const StoredInputs& stored);
    void take(const TimePassed& time);
    void take(const TapeBegins& begins);
    void take(const AskForPast& ask);
    void catch_up_with(const TapeBegins& begins, LiveTape& tape, std::vector<std::shared_ptr<const Batch>>& missed);
    void hand_over();
    template <class Work>
    void guarded(const char* what, Work&& task);

    const std::shared_ptr<const PipelineSetup> setup_;
    const std::filesystem::path recordings_;
    InputQueue& queue_;
    Recorder& recorder_;
    const IngestOutputs outputs_;
    std::unique_ptr<Pipeline> pipeline_;
    PredictionThread predictions_;          ///< of `pipeline_`, which it ends before
    std::string recording_id_;              ///< of what the pipeline makes
    std::optional<RecordingReader> stored_; ///< its file, while inputs are read from there
    bool knows_its_past_ = true;            ///< false: the stored inputs of its recording could not be read
    std::shared_ptr<Batch> batch_ = std::make_shared<Batch>();
    std::uint64_t failures_ = 0;
    std::atomic<std::int64_t> needs_since_ns_ = std::numeric_limits<std::int64_t>::max();
    std::thread thread_; ///< last: it uses all of the above
};

} // namespace turnstone
