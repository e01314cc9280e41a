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

/// Lets the time of a pipeline pass in steps, so that what a long silence makes does not pile up, and does not believe
/// a time that a damaged file may hold.
template <class OnBatch>
class StoredTime {
  public:
    StoredTime(Pipeline& pipeline, OnBatch& on_batch) : pipeline_(pipeline), on_batch_(on_batch) {}

    /// The time to use for `what`, reached but for the last step.
    std::int64_t reach(std::int64_t t_ns, const std::string& what) {
        std::int64_t latest_ns = pipeline_.progress().t_ns;
        // Compared without overflow: a damaged time may be any.
        if (t_ns > latest_ns && static_cast<std::uint64_t>(t_ns) - static_cast<std::uint64_t>(latest_ns) >
                                    static_cast<std::uint64_t>(kSilenceMax_ns)) {
            if (damage_.empty())
                damage_ = what + " is dated more than a day after what came before it; its time is not believed";
            return latest_ns;
        }
        for (; latest_ns + kStep_ns < t_ns; latest_ns += kStep_ns) step(latest_ns + kStep_ns);
        return std::max(latest_ns, t_ns);
    }
    void step(std::int64_t t_ns) {
        batch_.clear();
        pipeline_.advance(t_ns, batch_);
        on_batch_(batch_);
    }
    [[nodiscard]] const std::string& damage() const { return damage_; }

  private:
    static constexpr std::int64_t kStep_ns = 10 * kNsPerS;
    static constexpr std::int64_t kSilenceMax_ns = 24 * 3600 * kNsPerS;
    Pipeline& pipeline_;
    OnBatch& on_batch_;
    Batch batch_;
    std::string damage_;
};

/// Times that a pipeline can count from: the years 1970 to 2096.
[[nodiscard]] constexpr bool is_plausible_start(std::int64_t t_start_ns) noexcept {
    return t_start_ns >= 0 && t_start_ns < 4'000'000'000 * kNsPerS;
}

/// The stored progress of a pipeline that has come to its inputs; a time that cannot be is that of the last input.
[[nodiscard]] inline std::int64_t plausible_progress_ns(const Progress& stored, const Pipeline& pipeline) noexcept {
    const std::int64_t latest_ns = pipeline.progress().t_ns;
    constexpr std::int64_t kMax_ns = 24 * 3600 * kNsPerS;
    return stored.t_ns > latest_ns && stored.t_ns - latest_ns < kMax_ns ? stored.t_ns : latest_ns;
}

constexpr std::uint64_t kAllInputs = std::numeric_limits<std::uint64_t>::max();

/// For each of the first `count` stored inputs, calls `on_input` with it alone, as the pipeline is given it, and
/// `on_batch` with what the pipeline makes of it; `on_batch` also with what comes of the ticks up to `t_end_ns`, the
/// recording's end. Returns what is wrong with the stored times; empty: nothing.
template <class OnInput, class OnBatch>
std::string feed_stored_inputs(RecordingReader& reader, std::uint64_t count, Pipeline& pipeline, std::int64_t t_end_ns,
                               OnInput&& on_input, OnBatch&& on_batch) {
    StoredTime<std::remove_reference_t<OnBatch>> time(pipeline, on_batch);
    Inputs one;
    Batch batch;
    const auto feed = [&] {
        on_input(one);
        batch.clear();
        pipeline.take(one, batch);
        on_batch(batch);
    };
    reader.inputs(
        [&](ChunkRecord chunk, std::span<const std::byte> bytes) {
            if (chunk.input >= count) return;
            chunk.t_rx_ns = time.reach(chunk.t_rx_ns, "input " + std::to_string(chunk.input));
            chunk.bytes = {0, static_cast<std::uint32_t>(bytes.size())};
            one.clear();
            one.chunks.push_back(chunk);
            one.bytes.assign(bytes.begin(), bytes.end());
            feed();
        },
        [&](ActionRecord action) {
            if (action.input >= count) return;
            action.t_ns = time.reach(action.t_ns, "input " + std::to_string(action.input));
            one.clear();
            one.actions.push_back(std::move(action));
            feed();
        });
    time.step(time.reach(t_end_ns, "the end"));
    return time.damage();
}

} // namespace turnstone
