#include "server/ingest/ingest.hpp"

#include <utility>

#include "server/ingest/capture_link.hpp"

namespace turnstone {

Ingest::Ingest(const std::shared_ptr<const PipelineSetup>& setup, std::vector<LinkUri> uris,
               const std::filesystem::path& recordings, Recorder& recorder, IngestOutputs outputs)
    : interpreter_(std::make_unique<Interpreter>(setup, recordings, queue_, recorder, std::move(outputs))),
      reception_(std::make_unique<Reception>(
          setup, std::make_shared<const Schema>(Pipeline(*setup, 0).schema()), std::move(uris), recorder, queue_,
          [interpreter = interpreter_.get()] { return interpreter->needs_since_ns(); })) {}

Ingest::~Ingest() {
    stop();
}

void Ingest::start(const std::vector<Action>& actions, const std::optional<Resumable>& resumable) {
    reception_->start(actions, resumable);
}

void Ingest::stop() {
    reception_->stop();
    queue_.stop();
    interpreter_->join();
}

void Ingest::action(Action action, OwedReceipt receipt) {
    reception_->action(std::move(action), std::move(receipt));
}

void Ingest::new_recording(std::string name, OwedReceipt receipt) {
    reception_->new_recording(std::move(name), std::move(receipt));
}

void Ingest::set_meta(std::string key, std::string value, OwedReceipt receipt) {
    reception_->set_meta(std::move(key), std::move(value), std::move(receipt));
}

std::vector<LinkView> Ingest::links() const {
    return reception_->links();
}

bool Ingest::ended() const {
    return all_ended(links()) && queue_.idle();
}

} // namespace turnstone
