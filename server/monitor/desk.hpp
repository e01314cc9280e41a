#pragma once
/// Procedures, readiness boards and the poll of a station, with the logbook that they share.
#include <cstdint>
#include <optional>
#include <vector>

#include "server/monitor/procedures/procedure_run.hpp"
#include "server/monitor/readiness/board.hpp"
#include "server/monitor/readiness/poll.hpp"

namespace turnstone {

class Desk {
  public:
    /// Both must outlive it. `t_start_ns`: of the recording.
    Desk(const PipelineSetup& setup, const Schema& schema, std::int64_t t_start_ns);
    Desk(const Desk&) = delete; // its parts refer to one another
    Desk& operator=(const Desk&) = delete;

    /// What follows is of the recording before, or no longer.
    void carries(bool carried) noexcept { carries_ = carried; }
    /// What was appended to `batch` since `from`.
    void see(Batch& batch, Marks from, std::int64_t t_ns);
    void tick(std::int64_t t_ns, Batch& out);

    void take(const ProcedureCommand& command, std::int64_t t_ns, Batch& out);
    void take(const StepCommand& command, std::int64_t t_ns, Batch& out);
    void take(const CheckStatement& statement, std::int64_t t_ns, Batch& out);
    void take(const PollQuestion& question, std::int64_t t_ns, Batch& out);
    void take(const PollAnswer& answer, std::int64_t t_ns, Batch& out);
    void take(const Entered& entered, std::int64_t t_ns, Batch& out);
    void take(const StationFigure& figure, std::int64_t t_ns, Batch& out);
    void take(const PastProcedure& past, std::int64_t t_ns, Batch& out);
    void take(const CarriedProcedure& carried, std::int64_t t_ns, Batch& out);
    void take(const CarriedBaseline& baseline, std::int64_t t_ns, Batch& out);
    void take(const CarriedVerdict& verdict, std::int64_t t_ns, Batch& out);

    /// For the next recording.
    void carry(std::vector<Action>& out) const;
    /// A stored event that passed-over predictions would have led to.
    void recall(const Event& event);

  private:
    struct Procedures {
        std::vector<ProcedureRun> runs;
        [[nodiscard]] ProcedureRun* under_way();
        [[nodiscard]] ProcedureRun* find(std::string_view id);
    };
    [[nodiscard]] std::optional<std::size_t> place_of(std::string_view vehicle) const;
    [[nodiscard]] EventVehicle about(std::size_t vehicle) const;
    void follow_countdown(const Event& event);
    void look_again(std::int64_t t_ns, Batch& out);

    const PipelineSetup* setup_;
    std::int64_t t_start_ns_;
    Logbook book_;
    Poll poll_;
    std::vector<Procedures> procedures_;  ///< by vehicle
    std::vector<ReadinessBoard> boards_;  ///< of vehicles that have one
    std::vector<std::size_t> board_of_;   ///< by vehicle; its place in boards_, or their number
    std::optional<std::int64_t> zero_ns_; ///< T-0 of a countdown that runs
    bool carries_ = false;
};

} // namespace turnstone
