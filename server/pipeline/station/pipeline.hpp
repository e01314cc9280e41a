#pragma once
/// A pure function: (dictionaries, vehicles, site, ordered inputs) -> (frames, rows, estimates, events). No clock, no
/// I/O, no thread, no randomness without a recorded seed. Live, replay, reprocessing and most tests run it.
///
/// Time enters only as arguments. Ticks happen at whole multiples of kTickNs of station time, always before
/// the chunk or action at or after them, so that the recorded chunks and actions alone decide every tick:
/// replaying a recording's inputs gives bit for bit what was seen live, whatever the live server's timer did. Only the
/// ticks after the last input come from advance() alone: to repeat a recording to its end, advance to the newest
/// t_rx_ns among its rows.
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "server/pipeline/batch.hpp"
#include "server/pipeline/progress.hpp"
#include "server/pipeline/series.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

namespace estimate {
struct StepsLeft;
} // namespace estimate

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
               bool carried = false); ///< no predictions start while chunks are carried: they have been shown
    void action(std::int64_t t_in_ns, const Action& action, Batch& out);
    void advance(std::int64_t t_ns, Batch& out);
    /// All of them, in order.
    void take(const Inputs& inputs, Batch& out);
    [[nodiscard]] Progress progress() const noexcept;

    /// See estimate::EstimatorChain. No input, and not recorded: a station never calls it.
    void set_prediction_period(double period_s);

    // For whoever goes through stored inputs again and has no use for every prediction.
    /// Of the rounds of predictions, one in that many is flown; 0: none. The others give rows without figures.
    void fly_one_prediction_in(std::uint64_t rounds);
    /// Does a little, well under a millisecond, of what is due but not urgent, the flights of predictions. False when
    /// nothing is. When it is called changes nothing that the pipeline makes: what nobody had time for is done when it
    /// is needed. A second thread may call it beside every other function.
    bool work_ahead();
    /// There is or will be something of that kind, of what was taken so far.
    [[nodiscard]] bool has_work_ahead() const noexcept;
    /// So much of it waits that it should not be left to whoever has time.
    [[nodiscard]] bool work_piles_up() const noexcept;
    /// A stored event that passed-over predictions would have led to.
    void recall(const Event& event);

    /// See estimate::EstimatorChain; for a backward pass.
    void leave_steps(std::size_t vehicle, estimate::StepsLeft* steps);
    void leave_last_steps(std::size_t vehicle);

    /// A new recording that is to know what this pipeline knows begins with the inputs since then: some rest on the
    /// rail, and the flight if one is under way.
    [[nodiscard]] std::int64_t needs_inputs_since_ns() const;
    /// Actions that tell the next pipeline a vehicle's past. A new recording begins with them.
    [[nodiscard]] std::vector<Action> carried_actions() const;

  private:
    struct State;
    std::unique_ptr<State> state_;
};

} // namespace turnstone
