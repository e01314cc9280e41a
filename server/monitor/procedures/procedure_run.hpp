#pragma once
/// One procedure of one vehicle, as people go through it.
///
///     begin ──▶ first step under way ──▶ ... ──▶ every step done or waived ──▶ end: passed, failed or incomplete
///
/// Under way is the first step that is neither done nor waived. A step's checks are watched from the beginning and
/// decided when it is done; those of a waived one do not count. A step that is repeated is under way again, its checks
/// begin again, and later steps keep their state. It commands nothing.
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "server/monitor/checks/check_set.hpp"
#include "server/pipeline/events.hpp"

namespace turnstone {

class ProcedureRun {
  public:
    /// All must outlive it. `vehicle`: place in the setup.
    ProcedureRun(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle, const Procedure& procedure,
                 Logbook& book);

    [[nodiscard]] const Procedure& procedure() const noexcept { return *procedure_; }
    [[nodiscard]] bool is_under_way() const noexcept { return under_way_; }

    void begin(const std::string& by, double run, std::int64_t t_ns, Batch& out);
    void end(const std::string& by, std::int64_t t_ns, Batch& out);
    void take(const StepCommand& command, std::int64_t t_ns, Batch& out);
    /// Whether it has the check and a person may state it now.
    [[nodiscard]] bool has_statement(std::string_view check) const;

    void see(const Batch& batch, Marks from);
    /// Right after people said something.
    void look_again(std::int64_t t_ns, Batch& out);
    /// `zero_ns`: T-0 of a countdown that runs.
    void tick(std::int64_t t_ns, std::optional<std::int64_t> zero_ns, Batch& out);

    [[nodiscard]] CarriedProcedure carried() const;
    void carry_baselines(std::vector<Action>& out) const { checks_.carry_baselines(out); }
    void take(const CarriedBaseline& baseline) { checks_.take(baseline); }
    /// `t_start_ns`: of the recording.
    void carry(const CarriedProcedure& before, std::int64_t t_start_ns, std::int64_t t_ns, Batch& out);

  private:
    struct StepNow {
        StepState state = StepState::ahead; ///< under_way is not stored: it follows
        std::string by = {}, note = {};
    };
    [[nodiscard]] std::optional<std::size_t> step_under_way() const;
    [[nodiscard]] std::vector<std::string> reasons_to_hold(const Step& step) const;
    void finish(std::size_t step, StepState state, const std::string& by, const std::string& note, std::int64_t t_ns,
                Batch& out);
    void say(EventId id, std::size_t step, std::int64_t t_ns, Batch& out, std::vector<std::string> reasons = {});
    void say_begun(std::int64_t t_event_ns, std::int64_t t_ns, Batch& out) const;
    [[nodiscard]] std::string_view verdict() const;
    [[nodiscard]] EventVehicle vehicle() const { return {vehicle_.index, vehicle_.name}; }

    const Procedure* procedure_;
    CheckedVehicle vehicle_;
    Logbook* book_;
    CheckSet checks_;
    std::vector<StepNow> steps_;
    bool under_way_ = false;
    std::string by_;
    double run_ = 0;
    std::int64_t t_begun_ns_ = 0;
};

} // namespace turnstone
