#pragma once
/// The tables "ascent" and "landing", and the advisory when predicted landings reach over the site's boundary.
#include <array>
#include <optional>
#include <string_view>
#include <vector>

#include "server/estimate/air/wind_profile.hpp"
#include "server/estimate/chain/prediction_rounds.hpp"
#include "server/estimate/prediction/flight_fit.hpp"
#include "server/estimate/prediction/landing_area.hpp"
#include "server/estimate/prediction/predictor.hpp"
#include "server/estimate/table.hpp"
#include "shared/geodesy.hpp"

namespace turnstone::estimate {

/// A landing case as it is shown.
struct CaseFigures {
    LandingCase landing;
    GeodeticPosition place;
    Ellipse ellipse; ///< of 95 %
};

/// What both tables are filled from.
struct PredictionFigures {
    const Prediction& prediction;
    Factor thrust, drag;
    std::array<Factor, 2> parachutes;
    const WindProfile& wind;
    bool flat_ground;
    ByLandingCase<std::optional<CaseFigures>> cases; ///< as Prediction::landing
};

[[nodiscard]] TableOf<PredictionFigures> ascent_table();
[[nodiscard]] TableOf<PredictionFigures> landing_table();

class PredictionReport {
  public:
    /// Appends its tables to `tables`.
    PredictionReport(const Site& site, std::vector<TableDescription>& tables);

    void write(const Prediction& prediction, const PredictionRounds& rounds, const WindProfile& wind,
               EstimateSink& sink);
    /// Says it once when rounds are refused, and when they go on.
    void refused(PredictionRefusal why, const PredictionStart& from, EventSink& events);
    /// What the last flown round said of all cases (empty) or of one, when rounds since then were passed over.
    void recall_outside(std::string_view case_stem, bool outside);

  private:
    /// Raised above one level, cleared below another.
    struct Watch {
        bool raised = false;
        /// True when it is raised by `value`, false when cleared, empty when nothing changes.
        std::optional<bool> next(double value, double raise, double clear);
    };

    void announce_ground(const Prediction& prediction, bool flat, bool wind_unknown, EventSink& events);
    void watch_boundary(const Prediction& prediction, EventSink& events);

    LocalFrame frame_;
    RowWriter<PredictionFigures> ascent_, landing_;
    bool ground_announced_ = false;
    PredictionRefusal refused_ = PredictionRefusal::none;
    Watch over_all_;
    ByLandingCase<Watch> by_case_;
};

} // namespace turnstone::estimate
