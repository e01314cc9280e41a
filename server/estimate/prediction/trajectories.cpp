#include "server/estimate/prediction/trajectories.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <Eigen/LU>

namespace turnstone::estimate {

namespace {

constexpr double kBurnStep_s = 0.02;
constexpr double kClimbStep_s = 0.05;
constexpr double kFallStep_s = 0.1;
constexpr double kRailStep_s = 0.005;
constexpr double kFill_s = 0.7; // from ejection to a full parachute
constexpr double kLongest_s = 1200;
constexpr double kAirTop_m = 4000; // the cubic is fitted up to here

/// Linear in a table of equal steps, the ends beyond.
template <std::size_t N>
double lookup(const std::array<double, N>& table, double at) {
    const double clamped = std::clamp(at, 0.0, static_cast<double>(N - 1));
    const auto low = std::min(static_cast<std::size_t>(clamped), N - 2);
    const double part = clamped - static_cast<double>(low);
    return table[low] + part * (table[low + 1] - table[low]);
}

Lanes density(const FlightConditions& c, const Lanes& z_m) {
    const Lanes km = 1e-3 * z_m;
    return ((c.density_kg_m3[3] * km + c.density_kg_m3[2]) * km + c.density_kg_m3[1]) * km + c.density_kg_m3[0];
}

void wind_at(const FlightBlock& b, const Lanes& z_m, Lanes& east, Lanes& north) {
    for (int k = 0; k < kLanes; ++k) {
        const double at = std::clamp(z_m(k) / WindProfile::kStep_m, 0.0, WindProfile::kNodes - 1.0);
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

Lanes drag_area(const FlightConditions& c, const FlightBlock& b, const Lanes& t_s, const Lanes& z_m,
                const Lanes& speed_mps) {
    const Lanes mach = speed_mps / (c.sound_mps + c.sound_per_m * z_m);
    Lanes area;
    for (int k = 0; k < kLanes; ++k) area(k) = lookup(c.drag_coefficient, mach(k) / c.mach_step);
    area *= c.rocket->reference_area_m2 * b.drag_scale;
    for (std::size_t parachute = 0; parachute < 2; ++parachute) {
        const Lanes open = ((t_s - b.opens_s[parachute]) / kFill_s).max(0.0).min(1.0);
        area += b.parachute_m2[parachute] * open.square();
    }
    return area;
}

/// One step of all lanes; `alive` is 1 for those that move, 0 for those that have arrived.
void step(const FlightConditions& c, FlightBlock& b, double dt_s, const Lanes& alive) {
    // Two evaluations: at the start for half a step, there for the whole.
    Lanes x = b.x_m, y = b.y_m, z = b.z_m, vx = b.vx_mps, vy = b.vy_mps, vz = b.vz_mps;
    Lanes east, north, nx, ny, nz;
    for (int half = 0; half < 2; ++half) {
        const double h_s = half == 0 ? 0.5 * dt_s : dt_s;
        const Lanes t_s = b.t_s + (half == 0 ? 0.0 : 0.5 * dt_s);
        wind_at(b, z, east, north);
        const Lanes rx = vx - east, ry = vy - north;
        const Lanes speed = (rx.square() + ry.square() + vz.square()).sqrt().max(1e-6);
        const Motor m = motor(c, b, t_s);
        const Lanes rate = 0.5 * density(c, z) * drag_area(c, b, t_s, z, speed) * speed / m.mass_kg;
        Lanes ax = Lanes::Zero(), ay = Lanes::Zero(), az = Lanes::Constant(-c.gravity_mps2);
        if (b.burning) {
            const Lanes push = m.thrust_n / m.mass_kg;
            const Lanes dx = b.nose_x + b.thrust_east, dy = b.nose_y + b.thrust_north;
            ax += push * dx;
            ay += push * dy;
            az += push * (1 - dx.square() - dy.square()).max(0.0).sqrt();
            if (half == 1) {
                const Lanes follow = 1 / (1 + b.turn_distance_m / (speed * dt_s));
                b.nose_x += follow * (rx / speed - b.nose_x);
                b.nose_y += follow * (ry / speed - b.nose_y);
            }
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
    set_air(DayAtmosphere(PadReference{}));
}

void FlightConditions::set_air(const DayAtmosphere& air) {
    // Hydrostatic pressure through the profile in steps of 10 m, density at four heights, and the cubic through them.
    constexpr double kStep_m = 10;
    std::array<double, 4> at{};
    double pressure = air.pad().pressure_pa;
    double next = 0;
    std::size_t filled = 0;
    for (double h = 0; filled < 4; h += kStep_m) {
        if (h >= next - 1e-9) {
            at[filled++] =
                pressure / (kGasConstantAir_j_per_kg_k * air.temperature_k(h * kEarthRadius_m / (kEarthRadius_m + h)));
            next += kAirTop_m / 3;
        }
        const double middle = h + 0.5 * kStep_m;
        const double geopotential_step = kStep_m * std::pow(kEarthRadius_m / (kEarthRadius_m + middle), 2);
        pressure *= std::exp(-kGravityStandard_mps2 * geopotential_step /
                             (kGasConstantAir_j_per_kg_k * air.temperature_k(middle)));
    }
    // Sampled at 0, 1340, 2670 and 4000 m: the steps of 10 m that reach each third.
    const std::array<double, 4> km{0, 1.34, 2.67, 4.0};
    Eigen::Matrix4d powers;
    for (int i = 0; i < 4; ++i) {
        const double k = km[static_cast<std::size_t>(i)];
        powers.row(i) << 1, k, k * k, k * k * k;
    }
    const Eigen::Vector4d fit = powers.fullPivLu().solve(Eigen::Map<const Eigen::Vector4d>(at.data()));
    std::copy(fit.data(), fit.data() + 4, density_kg_m3.begin());
    const auto sound = [&](double h) {
        return std::sqrt(kHeatRatioAir * kGasConstantAir_j_per_kg_k * air.temperature_k(h));
    };
    sound_mps = sound(0);
    sound_per_m = (sound(2000) - sound(0)) / 2000;
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
    b.vx_mps = speed * rail_x;
    b.vy_mps = speed * rail_y;
    b.vz_mps = speed * rail_z;
}

void climb(const FlightConditions& c, FlightBlock& b) {
    const double infinity = std::numeric_limits<double>::infinity();
    b.opens_s = {Lanes::Constant(infinity), Lanes::Constant(infinity)};
    while (b.t_s.maxCoeff() < kLongest_s) {
        const Lanes alive = (b.vz_mps > 0).cast<double>();
        if (!(alive > 0).any()) break;
        b.burning = b.burning && (b.t_s < c.burn_time_s * b.burn_scale).any();
        const double dt_s = b.burning ? kBurnStep_s : kClimbStep_s;
        step(c, b, dt_s, alive);
    }
    // The last step overshot the top by at most its own length.
    const Lanes late_s = b.vz_mps / -c.gravity_mps2;
    b.apogee_s = b.t_s - late_s;
    b.apogee_m = b.z_m - 0.5 * b.vz_mps * late_s;
    b.burning = false;
}

void descend(const FlightConditions& c, FlightBlock& b) {
    const auto& parachutes = c.rocket->parachutes;
    const std::size_t count = std::min<std::size_t>(2, parachutes.size());
    Lanes alive = Lanes::Ones();
    while ((alive > 0).any() && b.t_s.maxCoeff() < kLongest_s) {
        for (std::size_t k = 0; k < count; ++k) {
            if (!(k == 0 ? c.first_parachute : c.later_parachutes)) continue;
            const double below_m = parachutes[k].opens_below_m.value_or(std::numeric_limits<double>::infinity());
            const Lanes fires = b.t_s + (parachutes[k].opens_after_s + b.delay_scale_s).max(0.0);
            b.opens_s[k] = (b.opens_s[k] == std::numeric_limits<double>::infinity() && b.z_m < below_m)
                               .select(fires, b.opens_s[k]);
        }
        const Lanes x = b.x_m, y = b.y_m, z = b.z_m, t = b.t_s;
        step(c, b, kFallStep_s, alive);
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
