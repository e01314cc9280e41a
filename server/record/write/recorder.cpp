#include "server/record/write/recorder.hpp"

#include <chrono>
#include <utility>

#include "server/record/write/recorder_queue.hpp"
#include "server/record/write/recorder_thread.hpp"
#include "server/record/write/recording_ids.hpp"

namespace turnstone {

struct Recorder::Parts {
    Parts(RecorderSettings settings, const PipelineSetup& setup,
          std::function<void(const std::filesystem::path&)> on_closed)
        : ids(settings.directory, setup.vehicles.empty() ? "" : setup.vehicles.front().dictionary.vehicle),
          queue(settings.queue_bytes_max), thread(std::move(settings), texts_of(setup), std::move(on_closed), queue) {}
    RecordingIds ids;
    RecorderQueue queue;
    RecorderThread thread; // ends before what it uses
};

Recorder::Recorder(RecorderSettings settings, const PipelineSetup& setup,
                   std::function<void(const std::filesystem::path&)> on_closed)
    : parts_(std::make_unique<Parts>(std::move(settings), setup, std::move(on_closed))) {}

Recorder::~Recorder() = default;

std::string Recorder::begin(const Schema& schema, RecordingHead head, std::int64_t utc_ns) {
    RecorderCommand command{.kind = RecorderCommand::Kind::begin};
    command.id = parts_->ids.next(utc_ns);
    command.head = std::move(head);
    command.schema = schema;
    std::string id = command.id;
    parts_->queue.put(std::move(command));
    return id;
}

void Recorder::resume(const Schema& schema, const std::string& id, std::shared_ptr<RecordingClaim> claim) {
    RecorderCommand command{.kind = RecorderCommand::Kind::begin};
    command.id = id;
    command.schema = schema;
    command.resumes = std::move(claim);
    parts_->queue.put(std::move(command));
}

void Recorder::push(std::shared_ptr<const Inputs> inputs) {
    if (inputs && !inputs->empty()) parts_->queue.put_inputs(std::move(inputs));
}

void Recorder::push(std::shared_ptr<const Batch> batch, const Progress& progress, const std::string& id) {
    if (batch && !batch->empty()) parts_->queue.put_derived(std::move(batch), progress, id);
}

void Recorder::tape_ended(const std::string& id) {
    RecorderCommand command{.kind = RecorderCommand::Kind::tape_ended};
    command.id = id;
    parts_->queue.put(std::move(command));
}

void Recorder::count_lost(std::uint64_t bytes) {
    parts_->queue.update([bytes](RecorderStatus& status) {
        for (Drops* drops : {&status.dropped, &status.dropped_here})
            *drops += Drops{.inputs = 0, .bytes = bytes, .rows = 0};
    });
}

void Recorder::count_rows_left_out(std::uint64_t rows) {
    parts_->queue.update([rows](RecorderStatus& status) {
        for (Drops* drops : {&status.dropped, &status.dropped_here})
            *drops += Drops{.inputs = 0, .bytes = 0, .rows = rows};
    });
}

void Recorder::set_meta(const std::string& key, const std::string& value) {
    RecorderCommand command{.kind = RecorderCommand::Kind::meta};
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
