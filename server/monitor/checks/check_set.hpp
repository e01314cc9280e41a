#pragma once
/// The checks of one file: who is fed with what, their events and the rows of their table.
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "server/monitor/checks/watched_check.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

/// Which vehicle of the setup, with the links that carry it.
[[nodiscard]] CheckedVehicle checked_vehicle(const PipelineSetup& setup, std::size_t vehicle);

/// "Battery: fails", for a person who wants to go on.
[[nodiscard]] std::string reason_of(const WatchedCheck& check);

class CheckSet {
  public:
    /// `procedure`: the id of the one they are of; empty: of the readiness board. All must outlive it.
    CheckSet(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle,
             const std::vector<const Check*>& checks, std::string procedure, const Logbook& book);

    [[nodiscard]] std::vector<WatchedCheck>& checks() noexcept { return checks_; }
    [[nodiscard]] const std::vector<WatchedCheck>& checks() const noexcept { return checks_; }
    /// What a stored event tells of one.
    void recall(std::string_view id, CheckState state, std::string why);
    [[nodiscard]] bool rests_on_predictions() const noexcept { return from_predictions_; }

    /// Appends what its checks measure from.
    void carry_baselines(std::vector<Action>& out) const;
    void take(const CarriedBaseline& baseline);

    void begin(std::int64_t t_ns);
    /// What was appended to `batch` since `from`.
    void see(const Batch& batch, Marks from);
    /// At a tick: judges, and says what has changed.
    void judge(std::int64_t t_ns, Batch& out);
    /// Says which states have changed since they were said last; and for which of those that have not there is another
    /// reason, once it has stood for a while or the check is decided.
    void say(std::int64_t t_ns, Batch& out);
    /// The row of its table, at once when a state that is the same wherever predictions are passed over has changed,
    /// else at whole seconds. `more`: columns behind those of the checks.
    void write(std::int64_t t_ns, std::span<const double> more, Batch& out);
    /// Without waiting for a whole second.
    void write_now(std::int64_t t_ns, std::span<const double> more, Batch& out);

  private:
    /// What was said last of a check, and the reason that has come up since.
    struct Said {
        CheckState state = CheckState::waits;
        std::optional<std::string> why = {}; ///< empty: nothing was said, and there was no reason yet
        std::string newer_why = {};
        std::int64_t newer_since_ns = 0;
    };
    [[nodiscard]] bool is_news(std::size_t check, std::int64_t t_ns);
    void say(std::size_t check, std::int64_t t_ns, Batch& out);

    CheckedVehicle vehicle_;
    std::string procedure_;
    const Schema* schema_;
    const Table* table_ = nullptr; ///< null: the schema has none
    std::vector<WatchedCheck> checks_;
    std::vector<std::vector<std::size_t>> checks_of_table_; ///< by table
    std::vector<Said> said_;
    std::vector<double> row_;
    bool from_predictions_ = false;
    bool changed_ = false; ///< a state, since the last row
};

} // namespace turnstone
