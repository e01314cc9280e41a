#include "server/record/write/recorder.hpp"

#include <chrono>
#include <filesystem>
#include <mutex>
#include <optional>
#include <set>
#include <system_error>
#include <utility>

#include "server/record/format/layout.hpp"
#include "server/record/format/recording_id.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/write/recorder_queue.hpp"
#include "server/record/write/recorder_thread.hpp"
#include "server/record/write/recording_claim.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

namespace {

/// Ids for the recordings of one recorder, unlike each other, those that were in the directory at its start, and those
/// of every other recorder that is at work there: the second one's name it as such. Where the directory cannot be
/// written to, another may still take one first: creating the file shows it. After its construction it never touches
/// the disk. Locks.
class RecordingIds {
  public:
    RecordingIds(const std::filesystem::path& directory, std::string vehicle) : vehicle_(std::move(vehicle)) {
        for (const std::filesystem::path& path : recording_files(directory)) taken_.insert(path.stem().string());
        try {
            std::error_code ignored; // taking the claim shows it
            std::filesystem::create_directories(directory, ignored);
            int recorder = 0;
            while (!claim_)
                claim_ = RecordingClaim::take(
                    directory / ("recorder-" + std::to_string(++recorder) + std::string(kRecordingEnding)));
            if (recorder > 1) vehicle_ += "-recorder-" + std::to_string(recorder);
        } catch (const SqliteError&) {
            return; // the recording's own file will meet the same, and say so
        }
    }

    [[nodiscard]] std::string next(std::int64_t utc_ns) {
        const std::lock_guard lock(mutex_);
        const std::string id = recording_id(utc_ns, vehicle_);
        std::string unique = id;
        for (int number = 2; !taken_.insert(unique).second; ++number) unique = id + "-" + std::to_string(number);
        return unique;
    }

  private:
    std::string vehicle_;
    std::optional<RecordingClaim> claim_; ///< of this recorder's number
    std::mutex mutex_;
    std::set<std::string> taken_;
};

} // namespace

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

std::string Recorder::begin(const Schema& schema, RecordingHead head, std::int64_t utc_ns, OwedReceipt receipt) {
    RecorderCommand command{.kind = RecorderCommand::Kind::begin};
    command.id = parts_->ids.next(utc_ns);
    command.head = std::move(head);
    command.schema = schema;
    command.receipt = std::move(receipt);
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

void Recorder::push(std::shared_ptr<const Inputs> inputs, OwedReceipt receipt) {
    if (inputs && !inputs->empty()) parts_->queue.put_inputs(std::move(inputs), std::move(receipt));
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

void Recorder::set_meta(const std::string& key, const std::string& value, OwedReceipt receipt) {
    RecorderCommand command{.kind = RecorderCommand::Kind::meta};
    command.receipt = std::move(receipt);
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
