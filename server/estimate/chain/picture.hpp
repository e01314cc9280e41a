#pragma once
/// What the estimators of one vehicle know of the flight so far. The chain owns it. A measurement passes each estimator
/// once; each reads the picture as those before it left it, and writes its own part.
#include <cstdint>
#include <optional>

#include <Eigen/Core>

#include "server/estimate/air/air_data.hpp"
#include "server/estimate/air/wind_profile.hpp"
#include "server/estimate/chain/derived.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/phases/phase.hpp"
#include "server/estimate/sensors/fix_scatter.hpp"
#include "server/estimate/translation/translation_estimate.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"
#include "server/estimate/vertical/vertical_input.hpp"

namespace turnstone::estimate {

/// By the phase detector. Times are empty until the event has been found in this flight.
struct PhasePicture {
    Phase phase = Phase::on_rail;
    Motion motion = Motion::rest;
    std::int64_t began_ns = 0; ///< 0: not known
    std::optional<std::int64_t> liftoff_ns, apogee_ns;
};

/// Of the newest usable pressure.
struct AirPicture {
    std::int64_t t_ns;
    AirHeights heights;
    AirSpeeds speeds; ///< NaN while no speed is known
    double altitude_sigma_m;
};

/// By the likeliest navigation filter, at the pace of the inertial sensor. Meaningful while `moving`.
struct NavigationPicture {
    bool moving = false; ///< aligned and off its rest
    Eigen::Vector3d position_enu_m = Eigen::Vector3d::Zero();
    Eigen::Vector3d velocity_enu_mps = Eigen::Vector3d::Zero();
    double vertical_speed_sigma_mps = 0;
    double axial_bias_mps2 = 0;    ///< of the accelerometer
    std::optional<TiltInput> tilt; ///< on the way up, when sure enough for the vertical filter
};

/// Speed against the air; NaN while attitude or wind are unknown.
struct AirSpeed {
    std::int64_t t_ns = 0;
    double speed_mps = kNaN;
    double sigma_mps = kNaN;
};

struct FlightPicture {
    PhasePicture phase;
    std::optional<AirPicture> air;
    VerticalEstimate vertical; ///< as the filter knows it
    NavigationPicture navigation;
    TranslationEstimate translation; ///< as of the newest fix or tick
    FixScatterFactors fix_scatter;
    AirSpeed air_speed;
    DerivedFigures figures;                    ///< as of the newest row of the phase
    const DayAtmosphere* atmosphere = nullptr; ///< of the pad; null without a rocket
    const WindProfile* wind = nullptr;         ///< null without a rocket
};

} // namespace turnstone::estimate
