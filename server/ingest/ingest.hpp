#pragma once
/// From the links to everybody else, on two threads: reception, which reads links and hands every byte to the recorder
/// first, and the interpreter, which runs the pipeline and hands what follows to the recorder and the viewers.
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "server/ingest/input_queue.hpp"
#include "server/ingest/interpreter.hpp"
#include "server/ingest/reception.hpp"

namespace turnstone {

class Ingest {
  public:
    /// `uris[i]` is setup->links[i]. `recordings`: where the recorder writes. `recorder` must outlive the ingest.
    Ingest(const std::shared_ptr<const PipelineSetup>& setup, std::vector<LinkUri> uris,
           const std::filesystem::path& recordings, Recorder& recorder, IngestOutputs outputs);
    ~Ingest();
    Ingest(const Ingest&) = delete;
    Ingest& operator=(const Ingest&) = delete;

    /// Begins the first recording with `actions` as its first inputs, or goes on in `resumable`; opens the links.
    void start(const std::vector<Action>& actions = {}, const std::optional<Resumable>& resumable = {});
    /// Closes the links, hands over what is left, ends the threads. Safe to call twice.
    void stop();

    // From any thread; done in the order called. `receipt`: given once it is committed, or it is known that it is not.
    /// For Pipeline::action. One that comes while a new recording is asked for goes into that.
    void action(Action action, OwedReceipt receipt = {});
    /// Begins with the inputs that its estimates need, marked as carried: a flight under way goes on in it.
    void new_recording(std::string name, OwedReceipt receipt = {});
    void set_meta(std::string key, std::string value, OwedReceipt receipt = {});

    /// From any thread.
    [[nodiscard]] std::vector<LinkView> links() const;
    /// Every link was a file, is read to its end, and nothing of it waits for the pipeline.
    [[nodiscard]] bool ended() const;

  private:
    InputQueue queue_;
    std::unique_ptr<Interpreter> interpreter_;
    std::unique_ptr<Reception> reception_; // its answers go to the interpreter, which ends last
};

} // namespace turnstone
