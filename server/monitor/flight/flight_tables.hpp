#pragma once
/// What the monitor writes of one vehicle: the tables "deployment" (twice a second in flight, and when a parachute's
/// state changes) and "last_place", and the sentence.
#include <optional>
#include <string_view>
#include <vector>

#include "server/monitor/flight/deployment_watch.hpp"
#include "server/monitor/flight/flight_view.hpp"
#include "server/monitor/flight/last_place.hpp"
#include "server/monitor/flight/sentence.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/events.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

class FlightTables {
  public:
    /// In the order in which they are laid out.
    [[nodiscard]] static std::vector<TableDescription> of(const VehicleSetup& vehicle);

    /// `vehicle`: its place in the setup. Both must outlive it.
    FlightTables(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle);

    /// After the watches and the alerts of a tick. `alert`: the most urgent one; null: none.
    void write(const FlightView& view, const DeploymentWatch& deployment, const Event* alert, Batch& out);

    /// A sentence that was said when predictions were flown.
    void recall(const Event& sentence) { sentence_.recall(sentence); }

  private:
    void write_deployment(const FlightView& view, const DeploymentFigures& figures, Batch& out);
    void write_last_place(const FlightView& view, Batch& out);

    EventVehicle vehicle_;
    const Table* deployment_ = nullptr; ///< null: the vehicle has none
    const Table* last_place_ = nullptr;
    std::optional<TableOf<DeploymentFigures>> deployment_rows_;
    TableOf<Place> last_place_rows_ = last_place_table();
    LastPlace place_;
    Sentence sentence_;
    std::vector<ParachuteState> states_; ///< as written
    std::int64_t t_deployment_ns_ = 0;
};

} // namespace turnstone
