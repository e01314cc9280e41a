#pragma once
/// The book of alerts: what was raised, seen, shelved and is over. Conditions come in, from the watches at every tick
/// and as alerts that estimators and links raise themselves; events go out.
///
/// Of each alert, by its key: it is raised when its condition has held for the on-delay, cleared when that has been
/// over for the off-delay (a latching one once it is acknowledged, too), raised again when its level or its cause
/// changes. An alert that chatters stays raised (alert_rules.hpp). Nothing is limited across alerts: none is lost in a
/// flood.
#include <array>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "server/estimate/phases/phase.hpp"
#include "server/monitor/alert_rules.hpp"
#include "server/monitor/condition.hpp"
#include "server/pipeline/action.hpp"
#include "server/pipeline/alert_state.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/events.hpp"

namespace turnstone {

class AlertBook {
  public:
    static constexpr double kToldFor_s = 10;

    /// Names of the vehicles, in the setup's order.
    explicit AlertBook(std::vector<std::string> vehicles)
        : vehicles_(std::move(vehicles)), phases_(vehicles_.size(), estimate::Phase::on_rail),
          lossy_(vehicles_.size()) {}
    /// A vehicle's phase decides which conditions count.
    void phase(int vehicle, estimate::Phase phase) { phases_.at(static_cast<std::size_t>(vehicle)) = phase; }
    /// So does whether many of its packets are lost.
    void lossy(int vehicle, bool lossy) { lossy_.at(static_cast<std::size_t>(vehicle)) = lossy; }

    /// An alert raised or cleared by whoever found it, at `t_ns`.
    void take(Event event, std::int64_t t_ns, Batch& out);
    /// What the watches of a vehicle found at a tick.
    void judge(const EventVehicle& vehicle, const std::vector<Condition>& found, std::int64_t t_ns, Batch& out);
    /// After everything of a tick: delays that have passed, shelving that is over.
    void tick(std::int64_t t_ns, Batch& out);

    /// What people are told first of a vehicle: the most urgent caution or warning of its own, of a link that carries
    /// it or of the station; null without one. A shelved alert leads nothing, nor does a caution that was acknowledged,
    /// nor, after kToldFor_s, one that is over and only waits to be.
    [[nodiscard]] const Event* leading(int vehicle, const std::vector<std::string>& links, std::int64_t t_ns) const;

    // What the operator does. Of a key that the book does not have, nothing follows.
    void take(const Acknowledge& what, std::int64_t t_ns, Batch& out);
    void take(const Shelve& what, std::int64_t t_ns, Batch& out);
    void take(const Unshelve& what, std::int64_t t_ns, Batch& out);

    /// What the next recording's book must know: alerts that are raised or shelved.
    [[nodiscard]] std::vector<CarriedAlert> carried(std::int64_t t_ns) const;
    /// What the book before said. `t_start_ns`: of the recording.
    void take(const CarriedAlert& what, std::int64_t t_start_ns, std::int64_t t_ns, Batch& out);
    /// An event of an alert that this book made when it was followed in full.
    void recall(const Event& event);

  private:
    static constexpr std::int64_t kNever = std::numeric_limits<std::int64_t>::min();
    struct Entry {
        Event latest;          ///< as it would be raised at this moment
        const AlertRule* rule; ///< never null
        Event shown = {};      ///< as it was raised last
        // How its end is said; without values of its own, with those it was raised with.
        std::string over_text = {};
        EventValues over_values = {};
        AlertState state = AlertState::normal;
        bool is_watched = false;                ///< by a watch, at every tick
        bool holds = false;                     ///< as found
        bool counts = false;                    ///< holds, in a phase in which it counts
        std::int64_t since_ns = 0;              ///< of `counts` as it is
        std::int64_t found_ns = kNever;         ///< when a watch last found it holding
        std::int64_t differs_since_ns = kNever; ///< from what is shown, in level or cause
        std::int64_t keep_until_ns = kNever;    ///< raised in the book before: until this book's watches have had time
        std::optional<std::int64_t> shelved_until_ns = {};
        std::array<std::int64_t, kChatterRaises> raised_ns{kNever, kNever, kNever}; ///< the newest first
    };

    [[nodiscard]] Entry* find(std::string_view key);
    Entry& entry(Event event, const AlertRule& rule);
    /// Holds, or is over, from `since_ns` on.
    void found(Entry& entry, bool holds, std::int64_t since_ns, std::int64_t t_ns, Batch& out);
    void settle(Entry& entry, std::int64_t since_ns, std::int64_t t_ns, Batch& out);
    void raise(Entry& entry, std::int64_t t_ns, Batch& out);
    void clear(Entry& entry, std::int64_t t_ns, Batch& out);
    static void say_cleared(const Entry& entry, std::int64_t t_ns, Batch& out);
    void acknowledge(Entry& entry, std::int64_t t_ns, Batch& out);
    void unshelve(Entry& entry, std::int64_t t_ns, Batch& out);
    [[nodiscard]] bool chatters(const Entry& entry, std::int64_t t_ns) const;
    [[nodiscard]] bool counts(const Entry& entry) const;

    std::vector<std::string> vehicles_;
    std::vector<estimate::Phase> phases_;
    std::vector<bool> lossy_;
    std::vector<Entry> entries_; ///< in the order they first came
};

} // namespace turnstone
