#pragma once
/// The tables "ascent" and "landing", and the advisory when predicted landings reach over the site's boundary.
#include <vector>

#include "server/estimate/air/wind_profile.hpp"
#include "server/estimate/chain/prediction_rounds.hpp"
#include "server/estimate/prediction/predictor.hpp"
#include "server/estimate/table.hpp"
#include "shared/geodesy.hpp"

namespace turnstone::estimate {

class PredictionReport {
  public:
    /// Appends its tables to `tables`.
    PredictionReport(const Site& site, std::vector<TableDescription>& tables);

    void write(const Prediction& prediction, const PredictionRounds& rounds, const WindProfile& wind,
               EstimateSink& sink);

  private:
    struct Row;
    [[nodiscard]] static TableOf<Row> ascent_table();
    [[nodiscard]] static TableOf<Row> landing_table();
    void announce_ground(const Prediction& prediction, bool flat, bool wind_unknown, EventSink& events);
    void watch_boundary(const Prediction& prediction, EventSink& events);

    LocalFrame frame_;
    RowWriter<Row> ascent_, landing_;
    bool ground_announced_ = false;
    bool outside_announced_ = false;
};

} // namespace turnstone::estimate
