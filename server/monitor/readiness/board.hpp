#pragma once
/// The readiness board of one vehicle: ready only while every must-check holds and every position of its poll says go.
/// It never says ready while a must-check fails, waits, is too old or cannot be evaluated. The person responsible
/// decides.
///
/// When the vehicle leaves it says once how it stood just before, which is some tenths of a second before anybody
/// knows: by then thrust shakes what was at rest. Then it is closed; it opens again, with nothing said, once the
/// vehicle is ready for another flight.
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "server/monitor/checks/check_set.hpp"
#include "server/monitor/readiness/poll.hpp"

namespace turnstone {

class ReadinessBoard {
  public:
    /// All must outlive it. `vehicle`: place in the setup, of one with a readiness file.
    ReadinessBoard(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle, Logbook& book,
                   std::int64_t t_start_ns);

    [[nodiscard]] bool is_ready() const noexcept { return ready_; }
    [[nodiscard]] bool has_statement(std::string_view check) const;

    /// What was appended to `batch` since `from`; what it says when the vehicle leaves is appended, too. `carried`: of
    /// the recording before, where that has been said.
    void see(Batch& batch, Marks from, Poll& poll, bool carried, std::int64_t t_ns);
    void tick(std::int64_t t_ns, const Poll& poll, Batch& out);
    /// Right after people said something, so that nobody reads "ready" until the next tick.
    void look_again(std::int64_t t_ns, const Poll& poll, Batch& out);
    /// A stored event that rests on predictions.
    void recall(const Event& event);
    /// What it said when the vehicle left, if it has: for the next recording.
    [[nodiscard]] std::optional<CarriedVerdict> carried() const;
    void carry_baselines(std::vector<Action>& out) const {
        if (!has_left_) checks_.carry_baselines(out);
    }
    void take(const CarriedBaseline& baseline) { checks_.take(baseline); }
    /// `t_start_ns`: of the recording.
    void take(const CarriedVerdict& verdict, std::int64_t t_start_ns, std::int64_t t_ns, Batch& out);

  private:
    void decide(std::int64_t t_ns, const Poll& poll, Batch& out);
    void forget_what_was_said(Poll& poll);
    void leave(std::int64_t t_event_ns, std::int64_t t_ns, Poll& poll, bool carried, Batch& out);
    void say_verdict(std::int64_t t_event_ns, std::int64_t t_ns, Batch& out) const;
    [[nodiscard]] std::vector<std::string> reasons(const Poll& poll) const;
    /// Why it was not ready just before that; empty: it was.
    [[nodiscard]] std::vector<std::string> reasons_before(std::int64_t t_ns, const Poll& poll) const;
    void remember(std::int64_t t_ns, const std::vector<std::string>& why_not);
    void say(EventId id, std::int64_t t_event_ns, std::int64_t t_ns, EventValues values, Batch& out) const;

    const Readiness* readiness_;
    CheckedVehicle vehicle_;
    Logbook* book_;
    CheckSet checks_;
    bool ready_ = false;
    /// Why it was not ready from a time on.
    struct Stood {
        std::int64_t t_ns;
        std::vector<std::string> why_not;
    };
    std::vector<Stood> stood_; ///< of the last seconds, and what was so before them
    bool has_left_ = false;
    CarriedVerdict verdict_{}; ///< when it left
};

} // namespace turnstone
