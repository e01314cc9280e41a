#pragma once
/// One check as it is watched: its gauges, its limits, and the state that follows.
///
///             begin                        close
///     waits ─────────▶ waits, holds, fails ─────▶ as it is; what still waits: fails where something should have
///                      not_evaluated              happened, else not_evaluated
///
/// It fails at once, and holds again only once it has held for a while. A value that is older than it may be is none.
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "server/monitor/checks/gauge.hpp"
#include "server/monitor/checks/said_gauges.hpp"
#include "server/pipeline/action.hpp"
#include "server/pipeline/checklist/binding.hpp"

namespace turnstone {

struct CheckFinding {
    CheckState state = CheckState::waits;
    double measured = kNaN;
    double margin = kNaN;  ///< room left to the nearer limit; negative: beyond it
    double limit = kNaN;   ///< that one
    std::string why = {};  ///< what a state without figures waits for, or what stands behind the figures
    std::int64_t t_ns = 0; ///< of what was measured
};

class WatchedCheck {
  public:
    static constexpr double kHoldsAgainAfter_s = 2;

    /// `in_procedure`: what people said before it began does not count, and it may not rest on predictions. `check`,
    /// `book` must outlive it.
    WatchedCheck(const Check& check, CheckBinding binding, const CheckedVehicle& vehicle, const Logbook& book,
                 bool in_procedure);

    [[nodiscard]] const Check& check() const noexcept { return *check_; }
    [[nodiscard]] const CheckBinding& binding() const noexcept { return binding_; }
    [[nodiscard]] const CheckFinding& finding() const noexcept { return finding_; }
    [[nodiscard]] bool is_closed() const noexcept { return closed_; }
    /// Tables with rows for it, each once.
    [[nodiscard]] std::vector<TableId> tables() const;

    void begin(std::int64_t t_ns);
    /// The same while it is under way.
    void begin_again(std::int64_t t_ns);
    void row(const Gauge::Row& row);
    void event(const Event& event);
    /// As of a tick; nothing of a closed one.
    void judge(std::int64_t t_ns);
    /// Decides it: it stays as it is.
    void close(std::int64_t t_ns);

    [[nodiscard]] CarriedCheck carried() const;
    /// After begin: goes on as it was; with `closed`, it stays so.
    void carry(const CarriedCheck& before, bool closed);
    /// What it measures from, if it has that, for the next recording; and there.
    [[nodiscard]] std::optional<Baseline> baseline() const;
    void measure_from(const Baseline& before);
    /// The state that a stored event tells of.
    void recall(CheckState state) { finding_.state = state; }

  private:
    void forget();
    [[nodiscard]] CheckFinding find(std::int64_t t_ns);
    [[nodiscard]] CheckFinding judge(const Reading& reading, std::int64_t t_ns, double old_after_s) const;
    void settle(CheckFinding found, std::int64_t t_ns);

    const Check* check_;
    CheckBinding binding_;
    std::vector<std::unique_ptr<Gauge>> gauges_; ///< of which the best counts
    std::unique_ptr<Gauge> otherwise_;           ///< for when none of them has a value; may be null
    double old_after_s_;                         ///< infinite: never
    CheckFinding finding_;
    std::optional<std::int64_t> holds_since_ns_; ///< of one that fails
    std::optional<CarriedCheck> before_;         ///< counts until there is something newer
    std::int64_t measured_ns_ = 0;               ///< of its gauges' newest reading
    bool closed_ = false;
};

} // namespace turnstone
