#pragma once
/// Feeds a recording's inputs to a pipeline again, for reprocessing, verifying and going on after a kill.
#include <algorithm>
#include <cstdint>
#include <limits>
#include <span>
#include <string>
#include <type_traits>
#include <utility>

#include "server/pipeline/station/pipeline.hpp"
#include "server/record/read/reader.hpp"
#include "shared/time.hpp"

namespace turnstone {

/// What is wrong with stored inputs: the first fault by name, and how many others there are.
class InputDamage {
  public:
    void add(std::string what);
    /// Empty: nothing is wrong.
    [[nodiscard]] std::string text() const;

  private:
    std::string first_;
    std::uint64_t count_ = 0;
};

/// The times of stored inputs. A damaged file may hold any; true ones never go back, and no station is silent for a
/// day.
class StoredTimes {
  public:
    StoredTimes(Pipeline& pipeline, InputDamage& damage) : pipeline_(pipeline), damage_(damage) {}
    /// The time to use for an input, given that of the next. One that is not believed becomes that of the one before.
    std::int64_t believed(std::uint64_t input, std::int64_t t_ns, std::int64_t next_ns);
    std::int64_t believed_end(std::int64_t t_ns);

  private:
    Pipeline& pipeline_;
    InputDamage& damage_;
    std::int64_t last_ns_ = std::numeric_limits<std::int64_t>::min();
};

/// Times that a pipeline can count from: the years 1970 to 2096.
[[nodiscard]] constexpr bool is_plausible_start(std::int64_t t_start_ns) noexcept {
    return t_start_ns >= 0 && t_start_ns < 4'000'000'000 * kNsPerS;
}

/// The stored progress of a pipeline that has come to its inputs; a time that cannot be is that of the last input.
[[nodiscard]] std::int64_t plausible_progress_ns(const Progress& stored, const Pipeline& pipeline) noexcept;

/// Empty: nothing is wrong with it.
[[nodiscard]] std::string fault_of(const ChunkRecord& chunk, std::size_t links);
[[nodiscard]] std::string fault_of(const ActionRecord& action);

constexpr std::uint64_t kAllInputs = std::numeric_limits<std::uint64_t>::max();
constexpr std::int64_t kNoEnd_ns = std::numeric_limits<std::int64_t>::min(); ///< the last input is the end

/// For each of the first `count` stored inputs, calls `on_input` with it alone, as the pipeline is given it next, and
/// `on_batch` with what the pipeline makes of it; `on_batch` also with what comes of the ticks up to `t_end_ns`, the
/// recording's end. Returns what is wrong with the stored inputs; empty: nothing.
template <class OnInput, class OnBatch>
std::string feed_stored_inputs(RecordingReader& reader, std::uint64_t count, Pipeline& pipeline, std::int64_t t_end_ns,
                               OnInput&& on_input, OnBatch&& on_batch) {
    constexpr std::int64_t kStep_ns = 10 * kNsPerS; // what a long silence makes does not pile up
    InputDamage damage;
    StoredTimes times(pipeline, damage);
    const std::size_t links = reader.description().links.size();
    Batch batch;
    const auto advance = [&](std::int64_t t_ns) {
        batch.clear();
        pipeline.advance(t_ns, batch);
        on_batch(batch);
    };
    const auto nearly_reach = [&](std::int64_t t_ns) {
        for (std::int64_t next_ns = pipeline.progress().t_ns + kStep_ns; next_ns < t_ns; next_ns += kStep_ns)
            advance(next_ns);
    };
    Inputs held; // its time is judged by that of the next
    const auto feed_held = [&](std::int64_t next_ns) {
        if (held.empty()) return;
        const bool is_chunk = !held.chunks.empty();
        std::int64_t& t_ns = is_chunk ? held.chunks.front().t_rx_ns : held.actions.front().t_ns;
        t_ns = times.believed(is_chunk ? held.chunks.front().input : held.actions.front().input, t_ns, next_ns);
        nearly_reach(t_ns);
        on_input(held);
        batch.clear();
        pipeline.take(held, batch);
        on_batch(batch);
        held.clear();
    };
    reader.inputs(
        [&](ChunkRecord chunk, std::span<const std::byte> bytes) {
            if (chunk.input >= count) return;
            if (std::string fault = fault_of(chunk, links); !fault.empty()) {
                damage.add(std::move(fault));
                return;
            }
            feed_held(chunk.t_rx_ns);
            chunk.bytes = {0, static_cast<std::uint32_t>(bytes.size())};
            held.chunks.push_back(chunk);
            held.bytes.assign(bytes.begin(), bytes.end());
        },
        [&](ActionRecord action) {
            if (action.input >= count) return;
            if (std::string fault = fault_of(action); !fault.empty()) {
                damage.add(std::move(fault));
                return;
            }
            feed_held(action.t_ns);
            held.actions.push_back(std::move(action));
        });
    feed_held(t_end_ns == kNoEnd_ns ? std::numeric_limits<std::int64_t>::max() : t_end_ns);
    const std::int64_t end_ns = times.believed_end(t_end_ns);
    nearly_reach(end_ns);
    advance(end_ns);
    return damage.text();
}

} // namespace turnstone
