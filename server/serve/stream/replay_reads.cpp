#include "server/serve/stream/replay_reads.hpp"

#include <algorithm>
#include <optional>

#include <nlohmann/json.hpp>

#include "server/serve/encode/blocks.hpp"
#include "server/serve/encode/description.hpp"
#include "shared/time.hpp"

namespace turnstone {
namespace {

/// Bound one read, and with it what a viewer has waiting; a faster tape simply plays slower.
constexpr std::size_t kRowsMax = 8192;
constexpr std::size_t kReadBytesMax = 2 * kBlockMessageBytes;

/// As many rows as one read may bring, were they all of the widest table.
std::size_t rows_of_read(const Schema& schema) {
    std::size_t widest = 0;
    for (const Table& table : schema.tables) widest = std::max(widest, row_bytes(table.number_count));
    return std::clamp<std::size_t>(kReadBytesMax / std::max<std::size_t>(widest, 1), 1, kRowsMax);
}

bool counts(const Table& table, const StepReplay& step) {
    return !step.of_packets || table.kind == TableKind::packet || table.kind == TableKind::batch;
}

/// Time of the nearest row that counts after or before the cursor, within the tape.
std::optional<std::int64_t> neighbour(RecordingReader& reader, const StepReplay& step, const ReplayTimes& times) {
    const auto& tables = reader.schema().tables;
    if (step.rows < 0) {
        std::optional<std::int64_t> found;
        const auto latest = reader.latest(times.cursor_ns - 1);
        for (std::size_t i = 0; i < latest.size(); ++i)
            if (latest[i] && latest[i]->first >= times.t_start_ns && counts(tables[i], step))
                found = std::max(found.value_or(latest[i]->first), latest[i]->first);
        return found;
    }
    std::size_t rows_max = 1; // more each time: a silence may be full of other rows
    for (std::int64_t from_ns = times.cursor_ns + 1; from_ns <= times.t_end_ns;) {
        Batch next;
        from_ns = reader.rows(from_ns, times.t_end_ns + 1, rows_max, next);
        for (const RowRecord& row : next.rows)
            if (counts(tables[row.table], step)) return row.t_ns;
        if (next.rows.empty()) return std::nullopt;
        rows_max = std::min<std::size_t>(rows_max * 8, kRowsMax);
    }
    return std::nullopt;
}

} // namespace

ReplayRead read_opening(RecordingReader& reader, const HelloParts& parts, bool live) {
    ReplayRead read;
    const RecordingInfo info = reader.info();
    read.times = {.t_start_ns = info.t_start_ns,
                  .t_end_ns = std::max(info.t_end_ns, info.t_start_ns),
                  .cursor_ns = info.t_start_ns};
    const auto latest = latest_json(reader.latest(info.t_start_ns), info.t_start_ns);
    read.messages.push_back(frame_message(Opcode::text, hello_text(parts, stored_description(reader, live), latest)));
    read.latest = dump(latest);
    return read;
}

ReplayRead read_cursor(RecordingReader& reader, const ReplayTimes& times) {
    ReplayRead read;
    read.times = times;
    read.latest = dump(latest_json(reader.latest(times.cursor_ns), times.t_start_ns));
    return read;
}

ReplayRead read_step(RecordingReader& reader, const ReplayTimes& times, const StepReplay& step) {
    ReplayTimes stepped = times;
    stepped.cursor_ns = neighbour(reader, step, times).value_or(step.rows > 0 ? times.t_end_ns : times.t_start_ns);
    return read_cursor(reader, stepped);
}

ReplayRead read_on(RecordingReader& reader, const ReplayTimes& times, std::int64_t target_ns, std::uint64_t seq) {
    ReplayRead read;
    read.times = times;
    const std::int64_t from_ns = times.cursor_ns + 1;
    Batch batch;
    const std::int64_t complete_ns = reader.rows(from_ns, target_ns + 1, rows_of_read(reader.schema()), batch);
    read.times.cursor_ns = std::max(times.cursor_ns, complete_ns - 1);
    // A recording under way has grown in the meantime.
    if (read.times.cursor_ns >= times.t_end_ns) read.times.t_end_ns = std::max(times.t_end_ns, reader.info().t_end_ns);
    for (const Event& event : reader.events(from_ns, read.times.cursor_ns + 1))
        read.messages.push_back(frame_message(Opcode::text, event_text(event, times.t_start_ns)));
    BlockEncoder encoder;
    for (BlockMessage& block :
         encoder.rows(batch, reader.schema(), times.t_start_ns, seq, {.replay = true, .coalesced = false})) {
        read.messages.push_back(std::move(block.wire));
        ++read.blocks;
    }
    return read;
}

} // namespace turnstone
