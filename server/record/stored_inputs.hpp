#pragma once
/// Feeds a recording's inputs to a pipeline again, for reprocessing and verifying.
#include <cstdint>
#include <span>

#include "server/pipeline/station/pipeline.hpp"
#include "server/record/read/reader.hpp"

namespace turnstone {

/// Calls `on_batch` with what the pipeline makes of each stored input and of the ticks up to the recording's end.
template <class OnBatch>
void feed_stored_inputs(RecordingReader& reader, Pipeline& pipeline, std::int64_t t_end_ns, OnBatch&& on_batch) {
    Batch batch;
    reader.inputs(
        [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
            batch.clear();
            pipeline.chunk(chunk.link, chunk.t_rx_ns, chunk.utc_rx_ns, bytes, batch, chunk.carried);
            on_batch(batch);
        },
        [&](const ActionRecord& action) {
            batch.clear();
            pipeline.action(action.t_ns, action.action, batch);
            on_batch(batch);
        });
    batch.clear();
    pipeline.advance(t_end_ns, batch);
    on_batch(batch);
}

} // namespace turnstone
