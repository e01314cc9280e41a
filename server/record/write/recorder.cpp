#include "server/record/write/recorder.hpp"

#include <chrono>
#include <utility>

#include "server/record/write/recorder_queue.hpp"
#include "server/record/write/recorder_thread.hpp"
#include "server/record/write/recording_ids.hpp"

namespace turnstone {

struct Recorder::Parts {
    Parts(RecorderSettings settings, const PipelineSetup& setup)
        : ids(settings.directory, setup.vehicles.empty() ? "" : setup.vehicles.front().dictionary.vehicle),
          queue(settings.queue_bytes_max), thread(std::move(settings), texts_of(setup), ids, queue) {}
    RecordingIds ids;
    RecorderQueue queue;
    RecorderThread thread; // ends before what it uses
};

Recorder::Recorder(RecorderSettings settings, const PipelineSetup& setup)
    : parts_(std::make_unique<Parts>(std::move(settings), setup)) {}

Recorder::~Recorder() = default;

std::string Recorder::begin(const Schema& schema, std::int64_t t_start_ns, std::int64_t utc_start_ns,
                            const std::string& name) {
    RecorderCommand command;
    command.kind = RecorderCommand::Kind::begin;
    command.id = parts_->ids.next(utc_start_ns);
    command.head = {.t_start_ns = t_start_ns, .utc_start_ns = utc_start_ns, .name = name, .continues = ""};
    command.schema = schema;
    std::string id = command.id;
    parts_->queue.put(std::move(command));
    return id;
}

void Recorder::push(std::shared_ptr<const Batch> batch) {
    if (batch && !batch->empty()) parts_->queue.put_batch(std::move(batch));
}

void Recorder::set_meta(const std::string& key, const std::string& value) {
    RecorderCommand command;
    command.kind = RecorderCommand::Kind::meta;
    command.key = key;
    command.value = value;
    parts_->queue.put(std::move(command));
}

bool Recorder::flush(std::int64_t timeout_ms) {
    return parts_->queue.flush(std::chrono::milliseconds(timeout_ms));
}

RecorderStatus Recorder::status() const {
    return parts_->queue.status();
}

} // namespace turnstone
