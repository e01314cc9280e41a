#include "server/record/derive.hpp"

#include <limits>

#include <spdlog/spdlog.h>

#include "server/record/format/layout.hpp"
#include "server/record/reprocess.hpp"
#include "server/record/stored_inputs.hpp"
#include "server/record/write/recording_claim.hpp"
#include "server/record/write/recording_file.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kBatchesPerCommit = 1000;

/// Makes what follows from inputs that came after the last rows were written.
void make_missing_rows(const std::filesystem::path& path) {
    auto reader = RecordingReader::open(path);
    if (!reader) return;
    const RecordingInfo info = reader->info();
    if (!is_plausible_start(info.t_start_ns)) return;
    const bool all_made = info.derived && info.derived->inputs == info.inputs;
    if (info.layout < kLayoutVersion || info.rows_dropped > 0 || all_made) return;
    const auto setup = reader->setup();
    if (!setup) {
        spdlog::warn("{}; its last second is closed without decoded data", setup.error().message);
        return;
    }
    Pipeline pipeline(*setup, info.t_start_ns);
    RecordingFile file(path, pipeline.schema(), false);
    std::size_t appended = 0;
    const std::string damage = catch_up(
        *reader, info.inputs, pipeline, [](const Inputs&) {},
        [&](const Batch& batch) {
            file.append(batch, pipeline.progress());
            if (++appended % kBatchesPerCommit == 0) file.commit();
        });
    if (info.closed)
        file.close(info.ended);
    else
        file.commit();
    if (!damage.empty()) spdlog::warn("{}: {}", path.string(), damage);
}

} // namespace

std::string catch_up(RecordingReader& reader, std::uint64_t inputs, Pipeline& pipeline,
                     const std::function<void(const Inputs&)>& on_input,
                     const std::function<void(const Batch&)>& on_batch) {
    const auto stored = reader.info().derived;
    bool passing_over = stored.has_value();
    if (passing_over) pipeline.fly_one_prediction_in(0);
    const auto go_on_when_there = [&] {
        if (!passing_over || pipeline.progress().inputs < stored->inputs) return;
        passing_over = false;
        Batch passed_over;
        pipeline.advance(plausible_progress_ns(*stored, pipeline), passed_over);
        for (const Event& event :
             reader.events(std::numeric_limits<std::int64_t>::min(), std::numeric_limits<std::int64_t>::max()))
            pipeline.recall(event);
        pipeline.fly_one_prediction_in(1);
    };
    go_on_when_there();
    return feed_stored_inputs(reader, inputs, pipeline, kNoEnd_ns, on_input, [&](const Batch& batch) {
        if (!passing_over) on_batch(batch);
        go_on_when_there();
    });
}

Result<RepairOutcome> finish_recording(const std::filesystem::path& path) {
    try {
        if (auto left = RecordingReader::open(path); left && !left->damage().empty())
            spdlog::warn("{}: {}", path.string(), left->damage());
        const auto claim = RecordingClaim::take(path);
        if (!claim) return RepairOutcome::in_use;
        if (!make_single_file(path)) return RepairOutcome::in_use;
        make_missing_rows(path);
        auto outcome = repair_recording(path);
        if (!outcome || *outcome == RepairOutcome::in_use) return outcome;
        auto reader = RecordingReader::open(path);
        if (!reader || reader->info().rows_dropped == 0) return outcome;
        if (const auto made = make_again(path); !made) return tl::unexpected(made.error());
        return RepairOutcome::repaired;
    } catch (const std::exception& error) {
        return fail("finishing " + path.string() + ": " + error.what());
    }
}

} // namespace turnstone
