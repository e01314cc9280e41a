#pragma once
/// What people and the station have said, and which alerts are raised: what checks know besides rows and events.
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "server/pipeline/action.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

struct SaidValue {
    double value = 0;
    std::int64_t t_ns = 0;
    std::string by = {};
};
struct SaidStatement {
    bool holds = false;
    std::int64_t t_ns = 0;
    std::string by = {}, note = {};
};
struct RaisedAlert {
    EventId id = EventId::note;
    Level level = Level::caution;
    int vehicle = -1;
    std::string key = {};
    std::string text = {}; ///< as it was raised
    bool from_predictions = false;
};

class Logbook {
  public:
    void enter(const Entered& what, std::int64_t t_ns) {
        values_[{what.vehicle, what.name}] = {what.value, what.t_ns.value_or(t_ns), what.by};
    }
    void state(const CheckStatement& what, std::int64_t t_ns) {
        statements_[{what.vehicle, what.check}] = {what.holds, what.t_ns.value_or(t_ns), what.by, what.note};
    }
    /// What was said of a check is spent.
    void forget(const std::string& vehicle, const std::string& check) { statements_.erase({vehicle, check}); }
    void report(const StationFigure& what, std::int64_t t_ns) {
        station_[what.what] = {what.value, what.t_ns.value_or(t_ns)};
    }
    void recall(const PastProcedure& what);
    /// In the recording under way.
    void begun(const std::string& vehicle, const std::string& procedure, double run);
    void passed(const std::string& vehicle, const std::string& procedure, std::int64_t t_ns,
                std::vector<std::string> waived);
    void failed(const std::string& vehicle, const std::string& procedure, std::int64_t t_ns);
    /// Of alerts.
    void see(const Event& event);

    /// Of the vehicle, or else of the place.
    [[nodiscard]] std::optional<SaidValue> entered(const std::string& vehicle, const std::string& name) const;
    [[nodiscard]] std::optional<SaidStatement> statement(const std::string& vehicle, const std::string& check) const;
    [[nodiscard]] std::optional<SaidValue> station(StationValue what) const;
    [[nodiscard]] std::optional<PastProcedure> past(const std::string& vehicle, const std::string& procedure) const;
    [[nodiscard]] const std::vector<RaisedAlert>& alerts() const noexcept { return alerts_; }

    /// For the next recording.
    void carry(std::vector<Action>& out) const;

  private:
    using Of = std::pair<std::string, std::string>; ///< vehicle, name
    std::map<Of, SaidValue> values_;
    std::map<Of, SaidStatement> statements_;
    std::map<StationValue, SaidValue> station_;
    std::map<Of, PastProcedure> past_;
    std::vector<RaisedAlert> alerts_;
};

} // namespace turnstone
