#pragma once
/// Attitude and gyro bias at rest on the pad, from gravity, the rail's azimuth or a magnetometer.
///
/// Gravity gives the direction of up in body axes; what it cannot tell is the rotation about the vertical. That comes from a
/// magnetometer (horizontal part of the field, corrected by the site's declination) or, on a leaning rail, from the operator's launch azimuth: the
/// nose leans that way. With neither, the heading is unknown and says so by a sigma of half a turn.
///
/// The accelerometer's bias tilts this "up" by bias / g, and the filter must know that the two errors are one: the
/// covariance handed over has the cross term dtheta = u x b / g, u being up in body axes (levelling error of a strapdown
/// system; P. D. Groves, "Principles of GNSS, Inertial, and Multisensor Integrated Navigation Systems", 2nd ed. 2013,
/// section 5.6.2; written here for the local error of server/estimate/eskf.hpp). A heading taken from the lean inherits that tilt,
/// magnified by one over the lean, and carries its cross term too.
///
/// Everything at rest is averaged here and handed over anew with each still block; the filter itself starts when the vehicle moves.
/// (A filter that ran on the pad would learn a heading from nothing: each relinearisation of the nearly vertical attitude
/// leaks a little of the unobservable rotation into the observable ones.)
#include <cstdint>
#include <optional>

#include "server/estimate/eskf.hpp"
#include "server/estimate/measurements.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone {

struct Alignment {
    EskfNominal nominal; ///< velocity zero
    Eskf::Covariance covariance;
    double heading_sigma_rad;
    double sample_interval_s; ///< typical, between inertial samples
};

/// Collects inertial samples in blocks of 0.1 s while they are still; one and a half seconds of still blocks in a row align.
class PadAlignment {
  public:
    PadAlignment(const SensorNoise& sensors, const Site& site, double gravity_mps2);

    /// Returns true when `sample` closed a still block: the moment to take a new alignment.
    bool imu(const ImuSample& sample);
    void mag(const MagSample& sample);
    /// What the still blocks so far give; empty while there are too few. Does not forget them.
    [[nodiscard]] std::optional<Alignment> alignment() const;
    void clear();

    /// A position fix at rest, ENU; averaged for the start.
    void position(const Eigen::Vector3d& position_enu_m, const Eigen::Vector3d& sigma_m);

  private:
    void open_block(const ImuSample& sample);
    /// Rotation about up that `q` still needs for its heading to agree with the mean magnetic field, counter-clockwise, rad.
    [[nodiscard]] double heading_from_field(const Eigen::Quaterniond& q) const;

    SensorNoise sensors_;
    const Site* site_;
    double gravity_mps2_;
    std::int64_t block_start_ns_ = 0, last_ns_ = 0;
    Eigen::Vector3d sum_accel_ = Eigen::Vector3d::Zero(), sum_rate_ = Eigen::Vector3d::Zero();
    Eigen::Vector3d first_accel_ = Eigen::Vector3d::Zero();
    double accel_spread_ = 0, rate_peak_ = 0;
    int count_ = 0;
    Eigen::Vector3d mean_accel_ = Eigen::Vector3d::Zero(), mean_rate_ = Eigen::Vector3d::Zero(); ///< over still blocks
    std::int64_t samples_ = 0;
    double still_s_ = 0;
    double interval_s_ = 0.01;
    Eigen::Vector3d mag_sum_ = Eigen::Vector3d::Zero();
    int mag_count_ = 0;
    Eigen::Vector3d position_sum_ = Eigen::Vector3d::Zero(), position_sigma_m_ = Eigen::Vector3d::Zero();
    int position_count_ = 0;
};

} // namespace turnstone
