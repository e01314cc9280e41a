#include "server/ingest/interpreter.hpp"

#include <chrono>
#include <utility>

#include <spdlog/spdlog.h>

#include "server/record/derive.hpp"
#include "server/record/format/layout.hpp"
#include "server/record/read/reader.hpp"

namespace turnstone {

namespace {

/// What follows from inputs that came together goes out at once; under load, what follows from this much time.
constexpr std::chrono::milliseconds kTogether{10};
constexpr std::size_t kBatchNumbersMax = 1u << 17; // a capture read at full speed must not become one huge batch
/// Received inputs are in the file within a tenth of a second, unless the disk is at fault or hangs.
constexpr int kWaitForFile_s = 30;

} // namespace

Interpreter::Interpreter(std::shared_ptr<const PipelineSetup> setup, std::filesystem::path recordings,
                         InputQueue& queue, Recorder& recorder, IngestOutputs outputs)
    : setup_(std::move(setup)), recordings_(std::move(recordings)), queue_(queue), recorder_(recorder),
      outputs_(std::move(outputs)), thread_([this] { run(); }) {}

Interpreter::~Interpreter() {
    queue_.stop();
    join();
}

void Interpreter::join() {
    if (thread_.joinable()) thread_.join();
}

void Interpreter::run() {
    auto handed_over_at = std::chrono::steady_clock::now();
    while (const auto received = queue_.take()) {
        std::visit([this](const auto& what) { take(what); }, *received);
        if (stored_ && queue_.idle()) stored_.reset();
        const auto now = std::chrono::steady_clock::now();
        if (!queue_.idle() && now < handed_over_at + kTogether && batch_->numbers.size() < kBatchNumbersMax) continue;
        hand_over();
        handed_over_at = now;
        if (pipeline_ == nullptr || !pipeline_->has_work_ahead()) continue;
        predictions_.look(); // viewers have what came
        // A computer that is busy with other things may leave that thread no time.
        while (queue_.idle() && pipeline_->work_piles_up() && pipeline_->work_ahead()) {
        }
    }
    hand_over();
}

/// An input that trips a defect must cost that input, not the thread.
template <class Work>
void Interpreter::guarded(const char* what, Work&& task) {
    try {
        task();
    } catch (const std::exception& error) {
        if (failures_++ < 10)
            spdlog::critical("{} could not be interpreted ({}); it is recorded, and the next are", what, error.what());
    }
}

void Interpreter::take(const std::shared_ptr<const Inputs>& inputs) {
    guarded(
        "An input", [&] { pipeline_->take(*inputs, *batch_); });
}

/// What did not fit the queue. Inputs that the disk does not give back are left out of everything that follows, which
/// closing the recording makes again.
void Interpreter::take(const StoredInputs& stored) {
    guarded("A stored input", [&] {
        Inputs inputs;
        for (int waited_s = 0;; ++waited_s) {
            if (!stored_) {
                auto reader = RecordingReader::open(recordings_ / (recording_id_ + std::string(kRecordingEnding)));
                if (reader) stored_.emplace(std::move(*reader));
            }
            if (stored_) inputs = stored_->inputs_of(stored.first, stored.count);
            const RecorderStatus status = recorder_.status();
            if (inputs.count() == stored.count || waited_s == kWaitForFile_s || status.lost ||
                status.dropped_here.inputs > 0)
                break;
            recorder_.flush(1000);
        }
        if (const std::uint64_t missing = stored.count - inputs.count(); missing > 0) {
            spdlog::error("{} received pieces cannot be read back from the recording and are not interpreted", missing);
            recorder_.count_rows_left_out(missing);
        }
        pipeline_->take(inputs, *batch_);
        queue_.reached(pipeline_->progress().t_ns);
    });
    needs_since_ns_ = pipeline_->needs_inputs_since_ns();
}

void Interpreter::take(const TimePassed& time) {
    guarded("A tick", [&] { pipeline_->advance(time.t_ns, *batch_); });
    needs_since_ns_ = pipeline_->needs_inputs_since_ns();
}

void Interpreter::take(const TapeBegins& begins) {
    hand_over();
    stored_.reset();
    if (pipeline_ != nullptr) {
        if (outputs_.on_closing) outputs_.on_closing();
        recorder_.tape_ended(recording_id_);
    }
    LiveTape tape = begins.tape;
    recording_id_ = tape.id;
    predictions_.fly_for(nullptr);
    pipeline_ = std::make_unique<Pipeline>(*setup_, tape.t_start_ns);
    needs_since_ns_ = tape.t_start_ns;
    std::vector<std::shared_ptr<const Batch>> missed;
    knows_its_past_ = begins.stored_inputs == 0;
    if (!knows_its_past_) guarded("The recording that continues", [&] { catch_up_with(begins, tape, missed); });
    if (!knows_its_past_) begins.give_back(std::nullopt);
    predictions_.fly_for(pipeline_.get());
    outputs_.on_tape(std::move(tape));
    for (auto& batch : missed) outputs_.on_batch(std::move(batch));
}

void Interpreter::take(const AskForPast& ask) {
    std::vector<Action> actions = pipeline_->carried_actions();
    for (Action& action : actions) // the pipeline knows nothing of files: what was passed in this one is said without
        if (auto* const past = std::get_if<PastProcedure>(&action); past && past->passed_ns && past->recording.empty())
            past->recording = recording_id_;
    ask.answer({.needs_since_ns = pipeline_->needs_inputs_since_ns(), .actions = std::move(actions)});
}

/// What was shown before the stop is in the file, and the newest row of each table goes with the tape; what was not
/// shown any more is `missed`.
void Interpreter::catch_up_with(const TapeBegins& begins, LiveTape& tape,
                                std::vector<std::shared_ptr<const Batch>>& missed) {
    auto reader = RecordingReader::open(recordings_ / (tape.id + std::string(kRecordingEnding)));
    if (!reader) throw std::runtime_error(reader.error().message);
    tape.newest = reader->latest(std::numeric_limits<std::int64_t>::max());
    tape.past = reader->events(std::numeric_limits<std::int64_t>::min(), std::numeric_limits<std::int64_t>::max());
    RecentInputs recent;
    const std::string damage = catch_up(
        *reader, begins.stored_inputs, *pipeline_,
        [&](const Inputs& input) {
            recent.add(std::make_shared<Inputs>(input));
            recent.forget_before(pipeline_->needs_inputs_since_ns());
        },
        [&](const Batch& batch) {
            if (batch.empty()) return;
            missed.push_back(std::make_shared<Batch>(batch));
            recorder_.push(missed.back(), pipeline_->progress(), tape.id);
        });
    knows_its_past_ = true;
    begins.give_back(std::move(recent));
    if (!damage.empty()) spdlog::warn("{}: {}", tape.id, damage);
}

void Interpreter::hand_over() {
    if (!knows_its_past_)
        batch_->clear(); // the new recording that was asked for begins with the inputs it is made from
    if (batch_->empty()) return;
    for (const Event& event : batch_->events)
        if (event.kind == EventKind::link_state) spdlog::info("{}", event.text);
    const std::shared_ptr<const Batch> full = std::exchange(batch_, std::make_shared<Batch>());
    recorder_.push(full, pipeline_->progress(), recording_id_);
    outputs_.on_batch(full);
}

} // namespace turnstone
