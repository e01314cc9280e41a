#include "server/estimate/prediction/trajectories.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <Eigen/LU>

namespace turnstone::estimate {

namespace {

constexpr double kInfinity = std::numeric_limits<double>::infinity();
constexpr double kBurnStep_s = 0.02;
constexpr double kClimbStep_s = 0.05;
constexpr double kFallStep_s = 0.1;
constexpr double kRailStep_s = 0.005;
constexpr double kFill_s = 0.7; // from ejection to a full parachute
constexpr double kLongest_s = 3600;
// Of vehicles whose file does not say, common practice, no source: twenty diameters long, the static margin one and a
// half, the radius of gyration a quarter of the length.
constexpr double kLengthDiameters = 20;
constexpr double kMarginDiameters = 1.5;
constexpr double kGyrationOfLength = 0.25;
constexpr double kNozzleOfLength = 0.4;     // behind the centre of mass
constexpr double kNormalSlope_per_rad = 11; // nose and four fins

/// Linear in a table of equal steps, the ends beyond; NaN is at its begin.
template <std::size_t N>
double lookup(const std::array<double, N>& table, double at) {
    const double clamped = at > 0 ? std::min(at, static_cast<double>(N - 1)) : 0;
    const auto low = std::min(static_cast<std::size_t>(clamped), N - 2);
    const double part = clamped - static_cast<double>(low);
    return table[low] + part * (table[low + 1] - table[low]);
}

struct Air {
    Lanes density_kg_m3, sound_mps;
};

/// Below the pad the lowest step goes on, above the table its top.
Air air_at(const FlightConditions& c, const Lanes& z_m) {
    Air out;
    for (int k = 0; k < kLanes; ++k) {
        const double at = std::min(z_m(k) / FlightConditions::kAirStep_m, FlightConditions::kAirTable - 1.0);
        const std::size_t low =
            at > 0 ? std::min(static_cast<std::size_t>(at), std::size_t{FlightConditions::kAirTable - 2}) : 0;
        const double part = at - static_cast<double>(low);
        out.density_kg_m3(k) = c.density_kg_m3[low] + part * (c.density_kg_m3[low + 1] - c.density_kg_m3[low]);
        out.sound_mps(k) = c.sound_mps[low] + part * (c.sound_mps[low + 1] - c.sound_mps[low]);
    }
    return out;
}

void wind_at(const FlightBlock& b, const Lanes& z_m, Lanes& east, Lanes& north) {
    for (int k = 0; k < kLanes; ++k) {
        const double at = WindProfile::node_at(z_m(k));
        const int low = std::min(static_cast<int>(at), WindProfile::kNodes - 2);
        const double part = at - low;
        east(k) = b.wind_east(k, low) + part * (b.wind_east(k, low + 1) - b.wind_east(k, low));
        north(k) = b.wind_north(k, low) + part * (b.wind_north(k, low + 1) - b.wind_north(k, low));
    }
}

struct Motor {
    Lanes thrust_n = Lanes::Zero();
    Lanes mass_kg;
};

Motor motor(const FlightConditions& c, const FlightBlock& b, const Lanes& t_s) {
    Motor out;
    if (!b.burning) {
        out.mass_kg = c.rocket->mass_dry_kg * b.mass_scale;
        return out;
    }
    const double per_s = (FlightConditions::kTable - 1) / c.burn_time_s;
    for (int k = 0; k < kLanes; ++k) {
        const double at = t_s(k) / b.burn_scale(k) * per_s;
        out.thrust_n(k) = at < FlightConditions::kTable - 1 ? b.thrust_scale(k) * lookup(c.thrust_n, at) : 0.0;
        out.mass_kg(k) = c.rocket->mass_dry_kg * b.mass_scale(k) + lookup(c.propellant_left_kg, at);
    }
    return out;
}

Lanes drag_area(const FlightConditions& c, const FlightBlock& b, const Lanes& t_s, const Lanes& mach) {
    Lanes area;
    for (int k = 0; k < kLanes; ++k) area(k) = lookup(c.drag_coefficient, mach(k) / c.mach_step);
    area *= c.rocket->reference_area_m2 * b.drag_scale;
    for (std::size_t parachute = 0; parachute < 2; ++parachute) {
        const Lanes open = ((t_s - b.opens_s[parachute]) / kFill_s).max(0.0).min(1.0);
        area += b.parachute_m2[parachute] * open.square();
    }
    return area;
}

struct Flow {
    const Lanes &x_mps, &y_mps, &z_mps; ///< velocity against the air
    const Lanes& along_mps;             ///< its part along the nose
    const Lanes& density_speed;         ///< rho V / 2
    const Lanes& thrust_n;
};

struct Nose {
    Lanes x, y, z;
};

/// The nose swings into the motion, which is that of the step's middle: a trapezoid step, so that it lags behind a path
/// that bends by what its moments ask for and not by part of the step. Returns where it points in the middle.
Nose turn_nose(const FlightConditions& c, FlightBlock& b, double dt_s, const Flow& u) {
    const Lanes stiff = dt_s * c.stiffness_m_per_kg * b.stiffness_scale * u.density_speed;
    const Lanes slow = 0.5 * dt_s * c.damping_m2_per_kg * u.density_speed + 0.25 * dt_s * stiff * u.along_mps.max(0.0);
    const Lanes keep = 1 - slow, divide = 1 / (1 + slow);
    // The side force of a thrust off the axis acts at the tail.
    const Lanes push = dt_s * c.turn_per_push_per_kg_m * u.thrust_n;
    const Lanes turn_x =
        (keep * b.turn_x + stiff * (b.nose_y * u.z_mps - b.nose_z * u.y_mps) + push * b.nose_z * b.thrust_north) *
        divide;
    const Lanes turn_y =
        (keep * b.turn_y + stiff * (b.nose_z * u.x_mps - b.nose_x * u.z_mps) - push * b.nose_z * b.thrust_east) *
        divide;
    const Lanes turn_z = (keep * b.turn_z + stiff * (b.nose_x * u.y_mps - b.nose_y * u.x_mps) +
                          push * (b.nose_y * b.thrust_east - b.nose_x * b.thrust_north)) *
                         divide;
    const Lanes by_x = 0.5 * dt_s * (b.turn_x + turn_x), by_y = 0.5 * dt_s * (b.turn_y + turn_y),
                by_z = 0.5 * dt_s * (b.turn_z + turn_z);
    const Lanes x = b.nose_x + by_y * b.nose_z - by_z * b.nose_y;
    const Lanes y = b.nose_y + by_z * b.nose_x - by_x * b.nose_z;
    const Lanes z = b.nose_z + by_x * b.nose_y - by_y * b.nose_x;
    const Lanes length = (x.square() + y.square() + z.square()).sqrt();
    Nose middle{0.5 * (b.nose_x + x / length), 0.5 * (b.nose_y + y / length), 0.5 * (b.nose_z + z / length)};
    b.nose_x = x / length;
    b.nose_y = y / length;
    b.nose_z = z / length;
    b.turn_x = turn_x;
    b.turn_y = turn_y;
    b.turn_z = turn_z;
    return middle;
}

/// One step of all lanes; `alive` is 1 for those that move, 0 for those that have arrived.
void step(const FlightConditions& c, FlightBlock& b, double dt_s, const Lanes& alive) {
    // Two evaluations: at the start for half a step, there for the whole.
    Lanes x = b.x_m, y = b.y_m, z = b.z_m, vx = b.vx_mps, vy = b.vy_mps, vz = b.vz_mps;
    Lanes east, north, nx, ny, nz;
    Nose nose{b.nose_x, b.nose_y, b.nose_z};
    for (int half = 0; half < 2; ++half) {
        const double h_s = half == 0 ? 0.5 * dt_s : dt_s;
        const Lanes t_s = b.t_s + (half == 0 ? 0.0 : 0.5 * dt_s);
        wind_at(b, z, east, north);
        const Lanes rx = vx - east, ry = vy - north;
        const Lanes speed = (rx.square() + ry.square() + vz.square()).sqrt().max(1e-6);
        const Motor m = motor(c, b, t_s);
        const Air air = air_at(c, z);
        const Lanes flow = 0.5 * air.density_kg_m3 * speed; // dynamic pressure over speed
        const Lanes rate = flow * drag_area(c, b, t_s, speed / air.sound_mps) / m.mass_kg;
        Lanes ax = Lanes::Zero(), ay = Lanes::Zero(), az = Lanes::Constant(-c.gravity_mps2);
        if (b.in_one_piece) {
            Lanes along = rx * nose.x + ry * nose.y + vz * nose.z;
            if (half == 1) {
                nose = turn_nose(c, b, dt_s, {rx, ry, vz, along, flow, m.thrust_n});
                along = rx * nose.x + ry * nose.y + vz * nose.z;
            }
            const Lanes hold = flow * c.normal_area_m2 / m.mass_kg;
            ax -= hold * (rx - along * nose.x);
            ay -= hold * (ry - along * nose.y);
            az -= hold * (vz - along * nose.z);
        }
        if (b.burning) {
            const Lanes push = m.thrust_n / m.mass_kg;
            ax += push * (nose.x + b.thrust_east);
            ay += push * (nose.y + b.thrust_north);
            az += push * nose.z;
        }
        // v' = a - rate (v - wind), with rate held: Crank-Nicolson about the start of the step.
        const Lanes keep = 1 - 0.5 * h_s * rate, divide = 1 / (1 + 0.5 * h_s * rate);
        nx = (keep * b.vx_mps + h_s * (ax + rate * east)) * divide;
        ny = (keep * b.vy_mps + h_s * (ay + rate * north)) * divide;
        nz = (keep * b.vz_mps + h_s * az) * divide;
        x = b.x_m + 0.5 * h_s * (b.vx_mps + nx);
        y = b.y_m + 0.5 * h_s * (b.vy_mps + ny);
        z = b.z_m + 0.5 * h_s * (b.vz_mps + nz);
        vx = nx;
        vy = ny;
        vz = nz;
    }
    b.x_m += alive * (x - b.x_m);
    b.y_m += alive * (y - b.y_m);
    b.z_m += alive * (z - b.z_m);
    b.vx_mps += alive * (vx - b.vx_mps);
    b.vy_mps += alive * (vy - b.vy_mps);
    b.vz_mps += alive * (vz - b.vz_mps);
    b.t_s += alive * dt_s;
}

} // namespace

Ground::Ground(const Site& site) : site_(&site) {
    const LocalFrame frame(site.pad);
    const GeodeticPosition away = frame.to_geodetic({1000, 1000, 0});
    degrees_per_east_m_ = (away.longitude_deg - site.pad.longitude_deg) / 1000;
    degrees_per_north_m_ = (away.latitude_deg - site.pad.latitude_deg) / 1000;
    if (site.terrain) {
        highest_m_ =
            *std::max_element(site.terrain->height_m.begin(), site.terrain->height_m.end()) - site.pad.height_m;
    }
}

double Ground::at(double east_m, double north_m) const {
    if (!site_->terrain) return 0;
    const TerrainGrid& grid = *site_->terrain;
    const double column =
        std::clamp((site_->pad.longitude_deg + east_m * degrees_per_east_m_ - grid.west_deg) / grid.step_longitude_deg,
                   0.0, static_cast<double>(grid.columns - 1));
    const double row =
        std::clamp((site_->pad.latitude_deg + north_m * degrees_per_north_m_ - grid.south_deg) / grid.step_latitude_deg,
                   0.0, static_cast<double>(grid.rows - 1));
    const auto c = static_cast<std::size_t>(column), r = static_cast<std::size_t>(row);
    const std::size_t c1 = std::min(c + 1, grid.columns - 1), r1 = std::min(r + 1, grid.rows - 1);
    const double u = column - static_cast<double>(c), v = row - static_cast<double>(r);
    const auto height = [&](std::size_t i, std::size_t j) { return grid.height_m[i * grid.columns + j]; };
    return (1 - v) * ((1 - u) * height(r, c) + u * height(r, c1)) + v * ((1 - u) * height(r1, c) + u * height(r1, c1)) -
           site_->pad.height_m;
}

FlightConditions::FlightConditions(const RocketModel& model, double gravity, const Ground& the_ground)
    : rocket(&model), ground(the_ground), gravity_mps2(gravity), burn_time_s(std::max(0.01, model.burn_time_s())) {
    for (std::size_t k = 0; k < kTable; ++k) {
        const double t_s = burn_time_s * static_cast<double>(k) / (kTable - 1);
        drag_coefficient[k] = model.drag_coefficient.at(mach_step * static_cast<double>(k));
        thrust_n[k] = model.thrust_n.at(t_s);
        propellant_left_kg[k] = model.mass_kg(t_s) - model.mass_dry_kg;
    }
    const double length_m = model.length_m.value_or(kLengthDiameters * model.body_diameter_m);
    const double margin_m = model.static_margin_m.value_or(kMarginDiameters * model.body_diameter_m);
    const double inertia_kg_m2 = model.mass_dry_kg * std::pow(kGyrationOfLength * length_m, 2);
    if (inertia_kg_m2 > 0) {
        normal_area_m2 = model.reference_area_m2 * kNormalSlope_per_rad;
        stiffness_m_per_kg = normal_area_m2 * margin_m / inertia_kg_m2;
        damping_m2_per_kg = model.reference_area_m2 * length_m * length_m / inertia_kg_m2;
        turn_per_push_per_kg_m = kNozzleOfLength * length_m / inertia_kg_m2;
    }
    set_air(DayAtmosphere(PadReference{}));
}

void FlightConditions::set_air(const DayAtmosphere& air) {
    // Hydrostatic pressure through the profile; ten steps from one entry to the next.
    constexpr int kSteps = 10;
    constexpr double kStep_m = kAirStep_m / kSteps;
    const auto at_geometric = [&](double h) { return air.temperature_k(h * kEarthRadius_m / (kEarthRadius_m + h)); };
    double pressure_pa = air.pad().pressure_pa;
    for (int entry = 0; entry < kAirTable; ++entry) {
        const double height_m = entry * kAirStep_m;
        const double temperature_k = at_geometric(height_m);
        density_kg_m3[static_cast<std::size_t>(entry)] = pressure_pa / (kGasConstantAir_j_per_kg_k * temperature_k);
        sound_mps[static_cast<std::size_t>(entry)] =
            std::sqrt(kHeatRatioAir * kGasConstantAir_j_per_kg_k * temperature_k);
        for (int part = 0; part < kSteps; ++part) {
            const double middle_m = height_m + (part + 0.5) * kStep_m;
            const double geopotential_m = kStep_m * std::pow(kEarthRadius_m / (kEarthRadius_m + middle_m), 2);
            pressure_pa *= std::exp(-kGravityStandard_mps2 * geopotential_m /
                                    (kGasConstantAir_j_per_kg_k * at_geometric(middle_m)));
        }
    }
}

void leave_rail(const FlightConditions& c, FlightBlock& b, const Lanes& rail_x, const Lanes& rail_y,
                const Lanes& rail_z) {
    b.burning = true;
    b.t_s = Lanes::Zero();
    Lanes along = Lanes::Zero(), speed = Lanes::Zero();
    for (double t_s = 0; t_s < c.burn_time_s; t_s += kRailStep_s) {
        const Lanes on_rail = (along < c.rocket->rail_length_m).cast<double>();
        if (!(on_rail > 0).any()) break;
        const Motor m = motor(c, b, b.t_s + 0.5 * kRailStep_s);
        const Lanes push = m.thrust_n / m.mass_kg - c.gravity_mps2 * rail_z;
        const Lanes faster = (speed + kRailStep_s * push).max(0.0); // the stop holds it until thrust exceeds weight
        along += on_rail * 0.5 * kRailStep_s * (speed + faster);
        speed += on_rail * (faster - speed);
        b.t_s += on_rail * kRailStep_s;
    }
    b.x_m = along * rail_x;
    b.y_m = along * rail_y;
    b.z_m = along * rail_z;
    b.nose_x = rail_x;
    b.nose_y = rail_y;
    b.nose_z = rail_z;
    b.turn_x = b.turn_y = b.turn_z = Lanes::Zero();
    b.vx_mps = speed * rail_x;
    b.vy_mps = speed * rail_y;
    b.vz_mps = speed * rail_z;
}

void climb(const FlightConditions& c, FlightBlock& b, const EachStep& each) {
    b.opens_s = {Lanes::Constant(kInfinity), Lanes::Constant(kInfinity)};
    b.in_one_piece = c.normal_area_m2 > 0;
    while (b.t_s.maxCoeff() < kLongest_s) {
        const Lanes alive = (b.vz_mps > 0).cast<double>();
        if (!(alive > 0).any()) break;
        b.burning = b.burning && (b.t_s < c.burn_time_s * b.burn_scale).any();
        const double dt_s = b.burning ? kBurnStep_s : kClimbStep_s;
        step(c, b, dt_s, alive);
        if (each) each(b);
    }
    // The last step overshot the top by at most its own length.
    const Lanes late_s = b.vz_mps / -c.gravity_mps2;
    b.apogee_s = b.t_s - late_s;
    b.apogee_m = b.z_m - 0.5 * b.vz_mps * late_s;
    b.burning = b.in_one_piece = false;
}

void descend(const FlightConditions& c, FlightBlock& b, const Openings& openings, const EachStep& each) {
    const auto& parachutes = c.rocket->parachutes;
    const std::size_t count = std::min<std::size_t>(2, parachutes.size());
    Lanes alive = Lanes::Ones();
    while ((alive > 0).any() && b.t_s.maxCoeff() < kLongest_s) {
        for (std::size_t k = 0; k < count; ++k) {
            if (!(k == 0 ? openings.first : openings.later)) continue;
            const Parachute& as = parachutes[openings.later_with_first ? 0 : k];
            const double below_m = as.opens_below_m.value_or(kInfinity);
            const double past_s = as.opens_below_m ? 0.0 : openings.since_apogee_s;
            Lanes after_s = (as.opens_after_s + b.delay_scale_s - past_s).max(0.0);
            if (k == 0) after_s += b.late_s;
            const Lanes fires = b.t_s + after_s;
            b.opens_s[k] = (b.opens_s[k] == kInfinity && b.z_m < below_m).select(fires, b.opens_s[k]);
        }
        const Lanes x = b.x_m, y = b.y_m, z = b.z_m, t = b.t_s;
        step(c, b, kFallStep_s, alive);
        if (each) each(b);
        if (!(b.z_m < c.ground.highest_m()).any()) continue;
        for (int k = 0; k < kLanes; ++k) {
            const double ground_m = c.ground.at(b.x_m(k), b.y_m(k));
            if (alive(k) > 0 && b.z_m(k) <= ground_m) {
                const double part = std::clamp((z(k) - ground_m) / std::max(1e-9, z(k) - b.z_m(k)), 0.0, 1.0);
                b.x_m(k) = x(k) + part * (b.x_m(k) - x(k));
                b.y_m(k) = y(k) + part * (b.y_m(k) - y(k));
                b.t_s(k) = t(k) + part * kFallStep_s;
                alive(k) = 0;
            }
        }
    }
    b.landing_east_m = b.x_m;
    b.landing_north_m = b.y_m;
    b.landing_s = b.t_s;
}

} // namespace turnstone::estimate
