#pragma once
/// What the flight shows of thrust, drag and parachutes, as factors on the vehicle file's figures, each with a 1-sigma.
///
/// Each factor is a scalar least-squares fit that starts at 1 with the scatter of the vehicle file. While the motor
/// burns the axial specific force is (k_T T(t) - D) / m; after it -k_D D / m, with D = rho V^2 S Cd(M) / 2. Under a
/// steady parachute the weight is the drag: k_C = 2 m g / (rho v^2 Cd A). What one flight cannot average out (the shape
/// of a table, the air, a slant) sets a floor under the sigma. NaN in changes nothing. Deterministic.
#include <array>
#include <cstdint>

#include "shared/vehicle.hpp"

namespace turnstone::estimate {

struct Factor {
    double value = 1;
    double sigma;
};

/// The total impulse as a factor, given that of the level which the thrust was seen at: a motor that pushes harder has
/// in part more impulse, in part burns faster, and in part pushes less later on. Linear regression of normal scatters.
[[nodiscard]] Factor impulse_at(double thrust, const FlightScatter& scatter);

class FlightFit {
  public:
    explicit FlightFit(const RocketModel& rocket);

    /// Axial specific force, bias removed; `speed_mps` against the air and its 1-sigma.
    void burning(double axial_mps2, double since_ignition_s, double speed_mps, double density_kg_m3, double mach);
    void coasting(double axial_mps2, double speed_mps, double speed_sigma_mps, double density_kg_m3, double mach);
    /// Steady descent under the parachutes up to `parachute` (0: the first).
    void hanging(std::size_t parachute, double descent_mps, double descent_sigma_mps, double density_kg_m3,
                 double gravity_mps2);

    /// Of the thrust's level; what it says of the total impulse: impulse_at().
    [[nodiscard]] Factor thrust() const { return with_floor(thrust_, kThrustFloor); }
    [[nodiscard]] Factor drag() const { return with_floor(drag_, kDragFloor); }
    [[nodiscard]] Factor parachute(std::size_t k) const { return with_floor(parachutes_[k], kParachuteFloor); }
    void reset();

  private:
    static constexpr double kThrustFloor = 0.006, kDragFloor = 0.0065, kParachuteFloor = 0.015;
    /// One measurement of the factor with its 1-sigma.
    static void take(Factor& factor, double value, double sigma);
    static Factor with_floor(Factor factor, double floor);

    const RocketModel* rocket_;
    Factor thrust_, drag_;
    std::array<Factor, 2> parachutes_;
};

} // namespace turnstone::estimate
