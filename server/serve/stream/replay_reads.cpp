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

/// Time of the nearest row of any table after (`direction` > 0) or before the cursor, within the tape.
std::optional<std::int64_t> neighbour(RecordingReader& reader, int direction, const ReplayTimes& times) {
    std::optional<std::int64_t> found;
    if (direction > 0) {
        Batch next;
        reader.rows(times.cursor_ns + 1, times.t_end_ns + 1, 1, next);
        if (!next.rows.empty()) found = next.rows.front().t_ns;
    } else {
        for (const auto& row : reader.latest(times.cursor_ns - 1))
            if (row && row->first >= times.t_start_ns) found = std::max(found.value_or(row->first), row->first);
    }
    return found;
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

ReplayRead read_step(RecordingReader& reader, const ReplayTimes& times, int direction) {
    ReplayTimes stepped = times;
    stepped.cursor_ns = neighbour(reader, direction, times).value_or(direction > 0 ? times.t_end_ns : times.t_start_ns);
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
