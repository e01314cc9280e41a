#include "server/record/write/recorder.hpp"

#include "server/record/format/recording_id.hpp"
#include "server/record/write/recorder_thread.hpp"

namespace turnstone {

namespace {

std::size_t size_of(const Batch& batch) {
    std::size_t bytes = sizeof(Batch) + batch.chunks.size() * sizeof(ChunkRecord) + batch.bytes.size() +
                        batch.frames.size() * sizeof(FrameRecord) + batch.rows.size() * sizeof(RowRecord) +
                        batch.numbers.size() * sizeof(double);
    for (const ActionRecord& action : batch.actions) bytes += sizeof(action) + to_json(action.action).size();
    for (const std::string& text : batch.texts) bytes += sizeof(text) + text.size();
    for (const Event& event : batch.events)
        bytes += sizeof(event) + event.key.size() + event.text.size() + event.values.size() * sizeof(EventValue);
    return bytes;
}

} // namespace

std::string Recorder::State::new_id(std::int64_t utc_start_ns) {
    const std::string id =
        make_recording_id(settings.directory, utc_start_ns, setup.vehicles.empty() ? "" : setup.vehicles.front().name);
    std::string unique = id;
    for (int number = 2; !ids_given.insert(unique).second; ++number) unique = id + "-" + std::to_string(number);
    return unique;
}

Recorder::Recorder(RecorderSettings settings, const PipelineSetup& setup) : state_(std::make_unique<State>()) {
    state_->settings = std::move(settings);
    state_->setup = texts_of(setup);
    state_->thread = std::thread([state = state_.get()] { state->run(); });
}

Recorder::~Recorder() {
    {
        const std::lock_guard lock(state_->mutex);
        state_->stopping = true;
    }
    state_->work_came.notify_all();
    state_->thread.join();
}

std::string Recorder::begin(const Schema& schema, std::int64_t t_start_ns, std::int64_t utc_start_ns,
                            const std::string& name) {
    RecorderCommand command;
    command.kind = RecorderCommand::Kind::begin;
    command.schema = schema;
    command.head = {t_start_ns, utc_start_ns, name, ""};
    const std::lock_guard lock(state_->mutex);
    command.id = state_->new_id(utc_start_ns);
    command.ticket = ++state_->begun;
    const std::string id = command.id;
    state_->queue.push_back(std::move(command));
    state_->work_came.notify_one();
    return id;
}

void Recorder::push(std::shared_ptr<const Batch> batch) {
    if (!batch || batch->empty()) return;
    State& state = *state_;
    const std::size_t raw_bytes = batch->bytes.size();
    try {
        RecorderCommand command;
        command.bytes = size_of(*batch);
        const std::lock_guard lock(state.mutex);
        if (state.status.queue_bytes + command.bytes > state.settings.queue_bytes_max) {
            // Raw bytes first: they are a tenth of what is derived from them, and the rest can be made again
            // from them.
            auto raw = std::make_shared<Batch>();
            raw->chunks = batch->chunks;
            raw->bytes = batch->bytes;
            raw->actions = batch->actions;
            raw->events = batch->events;
            command.bytes = size_of(*raw);
            if (state.status.queue_bytes + command.bytes >
                state.settings.queue_bytes_max + state.settings.queue_bytes_max / 4) {
                state.status.batches_dropped += 1;
                state.status.bytes_dropped += raw_bytes;
                return;
            }
            state.status.rows_dropped += batch->rows.size();
            batch = std::move(raw);
        }
        command.batch = std::move(batch);
        state.status.queue_bytes += command.bytes;
        state.queue.push_back(std::move(command));
        state.work_came.notify_one();
    } catch (const std::bad_alloc&) {
        const std::lock_guard lock(state.mutex);
        state.status.batches_dropped += 1;
        state.status.bytes_dropped += raw_bytes;
    }
}

void Recorder::set_meta(const std::string& key, const std::string& value) {
    RecorderCommand command;
    command.kind = RecorderCommand::Kind::meta;
    command.key = key;
    command.value = value;
    const std::lock_guard lock(state_->mutex);
    state_->queue.push_back(std::move(command));
    state_->work_came.notify_one();
}

bool Recorder::flush(std::int64_t timeout_ms) {
    std::unique_lock lock(state_->mutex);
    RecorderCommand command;
    command.kind = RecorderCommand::Kind::flush;
    command.ticket = ++state_->flush_asked;
    const std::uint64_t ticket = command.ticket;
    state_->queue.push_back(std::move(command));
    state_->work_came.notify_one();
    return state_->work_done.wait_for(lock, std::chrono::milliseconds(timeout_ms),
                                      [&] { return state_->flush_done >= ticket; });
}

RecorderStatus Recorder::status() const {
    const std::lock_guard lock(state_->mutex);
    return state_->status;
}

} // namespace turnstone
