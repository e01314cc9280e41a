#pragma once
/// A pure function: (dictionaries, vehicles, site, ordered inputs) -> (frames, rows, estimates, events). No clock, no
/// I/O, no thread, no randomness without a recorded seed. Live, replay, reprocessing and most tests run it.
///
/// Time enters only as arguments. Ticks happen at whole multiples of kTickNs of station time, always before
/// the chunk or action at or after them, so that the recorded chunks and actions alone decide every tick:
/// replaying a recording's inputs gives bit for bit what was seen live, whatever the live server's timer did. Only the
/// ticks after the last input come from advance() alone: to repeat a recording to its end, advance to the newest
/// t_rx_ns among its rows.
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "server/pipeline/batch.hpp"
#include "server/pipeline/series.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

class Pipeline {
  public:
    /// `setup` must outlive the pipeline. `t_start_ns` is the station time of the recording's start: no tick
    /// before it.
    Pipeline(const PipelineSetup& setup, std::int64_t t_start_ns);
    ~Pipeline();

    [[nodiscard]] const Schema& schema() const noexcept;

    /// Each call first fires the ticks due up to its time, then appends everything that follows from the
    /// input to `out`. Times must not go back; an earlier time is taken as the latest seen.
    void chunk(LinkId link, std::int64_t t_rx_ns, std::int64_t utc_rx_ns, std::span<const std::byte> bytes, Batch& out,
               bool carried = false);
    void action(std::int64_t t_in_ns, const Action& action, Batch& out);
    void advance(std::int64_t t_ns, Batch& out);

    /// See estimate::EstimatorChain. No input, and not recorded: a station never calls it.
    void set_prediction_period(double period_s);

    /// Bytes of an unfinished frame on a link: carried over to the next recording.
    [[nodiscard]] std::span<const std::byte> pending(LinkId link) const;
    /// Actions that tell the next pipeline a vehicle's past. A new recording begins with them.
    [[nodiscard]] std::vector<Action> carried_actions() const;

  private:
    struct State;
    std::unique_ptr<State> state_;
};

} // namespace turnstone
