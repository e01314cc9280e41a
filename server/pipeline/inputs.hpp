#pragma once
/// What enters a station, in one order: bytes as links delivered them, and actions. They are recorded before anything
/// interprets them; a Pipeline makes everything else from them, live or years later.
#include <cstddef>
#include <cstdint>
#include <span>
#include <utility>
#include <vector>

#include "server/pipeline/action.hpp"

namespace turnstone {

using LinkId = std::uint16_t;

/// A range of Inputs::bytes.
struct ByteRange {
    std::uint32_t offset;
    std::uint32_t size;
    friend bool operator==(const ByteRange&, const ByteRange&) = default;
};

/// Bytes as a link delivered them.
struct ChunkRecord {
    std::uint64_t input; ///< place among this recording's inputs, from 0, shared with ActionRecord
    LinkId link;
    std::int64_t t_rx_ns;        ///< station time of the read
    std::int64_t utc_rx_ns;      ///< system UTC at the read
    std::uint64_t stream_offset; ///< of the first byte, counted from the link's first byte in this recording
    bool carried;                ///< repeated from the recording before, whose estimates go on in this one
    ByteRange bytes;
    friend bool operator==(const ChunkRecord&, const ChunkRecord&) = default;
};

/// An input that is not bytes.
struct ActionRecord {
    std::uint64_t input;
    std::int64_t t_ns;
    Action action;
    friend bool operator==(const ActionRecord&, const ActionRecord&) = default;
};

struct Inputs {
    std::vector<ChunkRecord> chunks;
    std::vector<std::byte> bytes;
    std::vector<ActionRecord> actions;

    [[nodiscard]] bool empty() const noexcept { return chunks.empty() && actions.empty(); }
    [[nodiscard]] std::size_t count() const noexcept { return chunks.size() + actions.size(); }
    [[nodiscard]] std::span<const std::byte> bytes_of(const ChunkRecord& chunk) const noexcept {
        return std::span(bytes).subspan(chunk.bytes.offset, chunk.bytes.size);
    }
    void clear() noexcept; ///< keeps capacity
    friend bool operator==(const Inputs&, const Inputs&) = default;
};

/// Calls `on_chunk` (record, bytes) and `on_action` (record) in the order of the inputs.
template <class OnChunk, class OnAction>
void for_each_input(const Inputs& inputs, OnChunk&& on_chunk, OnAction&& on_action) {
    auto action = inputs.actions.begin();
    for (const ChunkRecord& chunk : inputs.chunks) {
        for (; action != inputs.actions.end() && action->input < chunk.input; ++action) on_action(*action);
        on_chunk(chunk, inputs.bytes_of(chunk));
    }
    for (; action != inputs.actions.end(); ++action) on_action(*action);
}

/// Gives each input of a recording its number, its place in its link's stream, and a time that does not go back.
class InputCounter {
  public:
    InputCounter(std::size_t links, std::int64_t t_start_ns) : stream_bytes_(links), latest_ns_(t_start_ns) {}
    /// Goes on after `inputs` that are recorded already, the last at `latest_ns`, with these bytes of each link.
    InputCounter(std::vector<std::uint64_t> stream_bytes, std::int64_t latest_ns, std::uint64_t inputs)
        : stream_bytes_(std::move(stream_bytes)), latest_ns_(latest_ns), inputs_(inputs) {}

    // Each appends to `out`. A time before the latest is taken as the latest.
    void chunk(LinkId link, std::int64_t t_rx_ns, std::int64_t utc_rx_ns, std::span<const std::byte> bytes, Inputs& out,
               bool carried = false);
    void action(std::int64_t t_ns, const Action& action, Inputs& out);

  private:
    std::int64_t reach(std::int64_t t_ns) noexcept;

    std::vector<std::uint64_t> stream_bytes_; ///< by link
    std::int64_t latest_ns_;
    std::uint64_t inputs_ = 0;
};

} // namespace turnstone
