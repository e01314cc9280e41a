// The predictor's Monte Carlo beside a bare integrator of the same model: the same steps, tables, wind
// nodes and parachutes, written over vectors of eight doubles, without drawing uncertain parameters, a long axis that
// swings or a summary.
// In one process, in turn.
#include <array>
#include <cmath>
#include <cstdio>
#include <limits>
#include <random>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/estimate/prediction/predictor.hpp"
#include "shared/vehicle.hpp"
#include "tools/benchmarks/measure.hpp"

using namespace turnstone;
using namespace turnstone::estimate;

namespace {

constexpr int kBareBlocks = 16; ///< different ones, flown in turn until as many as in a round

/// Eight doubles, computed with like one.
using V8 = double __attribute__((vector_size(8 * sizeof(double))));

V8 all(double value) {
    return V8{value, value, value, value, value, value, value, value};
}
V8 root(V8 x) {
    for (int k = 0; k < 8; ++k) x[k] = std::sqrt(x[k]);
    return x;
}
bool any_above_zero(V8 x) {
    for (int k = 0; k < 8; ++k)
        if (x[k] > 0) return true;
    return false;
}

/// After burnout: climbs, then falls. Parameters are the flight's own, as the predictor draws them.
struct BareBlock {
    V8 t{}, x{}, y{}, z{}, vx{}, vy{}, vz{};
    V8 drag_scale{}, mass{}, delay{};
    std::array<V8, 2> drag_area_m2{}, opens{};
    std::array<V8, WindProfile::kNodes> east{}, north{};
};

struct BareIntegrator {
    const FlightConditions* c;
    const RocketModel* rocket;

    void air(V8 z, V8& density, V8& sound) const {
        for (int k = 0; k < 8; ++k) {
            const double at = std::min(z[k] / FlightConditions::kAirStep_m, FlightConditions::kAirTable - 1.0);
            const std::size_t low =
                at > 0 ? std::min(static_cast<std::size_t>(at), std::size_t{FlightConditions::kAirTable - 2}) : 0;
            const double part = at - static_cast<double>(low);
            density[k] = c->density_kg_m3[low] + part * (c->density_kg_m3[low + 1] - c->density_kg_m3[low]);
            sound[k] = c->sound_mps[low] + part * (c->sound_mps[low + 1] - c->sound_mps[low]);
        }
    }
    [[nodiscard]] V8 drag_coefficient(V8 mach) const {
        const V8 at = mach / c->mach_step;
        V8 out;
        for (int k = 0; k < 8; ++k) {
            const double clamped = std::min(std::max(at[k], 0.0), FlightConditions::kTable - 1.0);
            const int low = std::min(static_cast<int>(clamped), FlightConditions::kTable - 2);
            const double* value = c->drag_coefficient.data() + low;
            out[k] = value[0] + (clamped - low) * (value[1] - value[0]);
        }
        return out;
    }
    static void wind(const BareBlock& b, V8 z, V8& east, V8& north) {
        for (int k = 0; k < 8; ++k) {
            const double at = WindProfile::node_at(z[k]);
            const int low = std::min(static_cast<int>(at), WindProfile::kNodes - 2);
            const double part = at - low;
            const auto i = static_cast<std::size_t>(low);
            east[k] = b.east[i][k] + part * (b.east[i + 1][k] - b.east[i][k]);
            north[k] = b.north[i][k] + part * (b.north[i + 1][k] - b.north[i][k]);
        }
    }
    void step(BareBlock& b, double dt, V8 alive) const {
        V8 x = b.x, y = b.y, z = b.z, vx = b.vx, vy = b.vy, vz = b.vz;
        for (int half = 0; half < 2; ++half) {
            const double h = half == 0 ? 0.5 * dt : dt;
            const V8 t = b.t + (half == 0 ? 0.0 : 0.5 * dt);
            V8 east, north;
            wind(b, z, east, north);
            const V8 rx = vx - east, ry = vy - north;
            const V8 speed = root(rx * rx + ry * ry + vz * vz + 1e-12);
            V8 density, sound;
            air(z, density, sound);
            V8 area = drag_coefficient(speed / sound) * rocket->reference_area_m2 * b.drag_scale;
            for (std::size_t k = 0; k < 2; ++k) {
                V8 open = (t - b.opens[k]) / 0.7;
                open = open < 0 ? all(0) : open;
                open = open > 1 ? all(1) : open;
                area += b.drag_area_m2[k] * open * open;
            }
            const V8 rate = 0.5 * density * area * speed / b.mass;
            const V8 keep = 1 - 0.5 * h * rate, divide = 1 / (1 + 0.5 * h * rate);
            vx = (keep * b.vx + h * rate * east) * divide;
            vy = (keep * b.vy + h * rate * north) * divide;
            vz = (keep * b.vz - h * c->gravity_mps2) * divide;
            x = b.x + 0.5 * h * (b.vx + vx);
            y = b.y + 0.5 * h * (b.vy + vy);
            z = b.z + 0.5 * h * (b.vz + vz);
        }
        b.x += alive * (x - b.x);
        b.y += alive * (y - b.y);
        b.z += alive * (z - b.z);
        b.vx += alive * (vx - b.vx);
        b.vy += alive * (vy - b.vy);
        b.vz += alive * (vz - b.vz);
        b.t += alive * dt;
    }
    void climb(BareBlock& b) const {
        b.opens = {all(std::numeric_limits<double>::infinity()), all(std::numeric_limits<double>::infinity())};
        for (;;) {
            const V8 alive = b.vz > 0 ? all(1) : all(0);
            if (!any_above_zero(alive)) return;
            step(b, 0.05, alive);
        }
    }
    void descend(BareBlock& b, bool first, bool later) const {
        V8 alive = all(1);
        while (any_above_zero(alive)) {
            for (std::size_t k = 0; k < 2; ++k) {
                if (!(k == 0 ? first : later)) continue;
                const Parachute& parachute = rocket->parachutes[k];
                const double below = parachute.opens_below_m.value_or(1e9);
                for (int lane = 0; lane < 8; ++lane)
                    if (std::isinf(b.opens[k][lane]) && b.z[lane] < below)
                        b.opens[k][lane] = b.t[lane] + parachute.opens_after_s + b.delay[lane];
            }
            step(b, 0.1, alive);
            for (int lane = 0; lane < 8; ++lane)
                if (b.z[lane] <= 0) alive[lane] = 0;
        }
    }
};

struct Start {
    const char* words;
    PredictionStart from;
    int cases;
};

Start under_drogue() {
    PredictionStart from{};
    from.phase = Phase::under_drogue;
    from.position_enu_m = {0, 0, 1000};
    from.velocity_enu_mps = {0, 0, -22};
    from.nose_enu = {0, 0, 1};
    from.covariance.setIdentity();
    from.place_known = true;
    from.probability[LandingCaseKind::nominal] = 1;
    return {.words = "under the drogue at 1000 m, one case", .from = from, .cases = 1};
}

Start coasting() {
    Start out = under_drogue();
    out.words = "coasting at 300 m with 180 m/s, three cases";
    out.cases = 3;
    out.from.probability[LandingCaseKind::nominal] = 0.9;
    out.from.probability[LandingCaseKind::drogue_fails] = 0.05;
    out.from.probability[LandingCaseKind::no_parachute] = 0.05;
    out.from.phase = Phase::coasting;
    out.from.position_enu_m = {0, 0, 300};
    out.from.velocity_enu_mps = {10, 5, 180};
    return out;
}

/// What the predictor would draw for such a start, roughly: the work does not depend on the last digit.
std::vector<BareBlock> bare_blocks(const Start& start, const RocketModel& rocket) {
    std::mt19937_64 random(1);
    std::normal_distribution<double> normal;
    const auto draw = [&](double mean, double sigma) {
        V8 out{};
        for (int k = 0; k < 8; ++k) out[k] = mean + sigma * normal(random);
        return out;
    };
    std::vector<BareBlock> blocks(kBareBlocks);
    for (BareBlock& b : blocks) {
        const auto& p = start.from.position_enu_m;
        const auto& v = start.from.velocity_enu_mps;
        b.x = draw(p.x(), 1), b.y = draw(p.y(), 1), b.z = draw(p.z(), 1);
        b.vx = draw(v.x(), 1), b.vy = draw(v.y(), 1), b.vz = draw(v.z(), 1);
        b.drag_scale = draw(1, 0.05);
        b.mass = all(rocket.mass_dry_kg);
        b.delay = draw(0, 0.1);
        for (std::size_t k = 0; k < 2; ++k) b.drag_area_m2[k] = rocket.parachutes[k].drag_area_m2 * draw(1, 0.1);
        const V8 east = draw(0, 4), north = draw(0, 4);
        for (auto& node : b.east) node = east + draw(0, 1);
        for (auto& node : b.north) node = north + draw(0, 1);
    }
    return blocks;
}

} // namespace

int main() {
    const Site site{};
    std::vector<Problem> problems;
    const auto json = parse_json_file(bench::source("tools/demo/sanderling/vehicle.json"), problems);
    const Vehicle vehicle = json ? read_vehicle(*json, "vehicle.json", problems) : Vehicle{};
    if (!problems.empty() || !vehicle.rocket) {
        std::fprintf(stderr, "%s\n", to_string(problems).c_str());
        return 1;
    }
    const RocketModel& rocket = *vehicle.rocket;
    const Ground ground(site);
    const DayAtmosphere air(PadReference{});
    FlightConditions conditions(rocket, kGravityStandard_mps2, ground);
    conditions.set_air(air);
    const BareIntegrator integrator{&conditions, &rocket};
    Predictor predictor(rocket, site);
    const FlightFit fit(rocket);
    const WindProfile wind(site);
    double sink = 0;

    std::printf("predictions: %d flights a round\n", Predictor::kFlights);
    for (const Start& start : {under_drogue(), coasting()}) {
        const auto blocks = bare_blocks(start, rocket);
        bench::Race race;
        const auto ours = race.add(
            "a round of the predictor",
            [&] {
                predictor.start(start.from, fit, wind, air);
                sink += predictor.advance(Predictor::kSteps)->landing[LandingCaseKind::nominal]->time_s;
            });
        const auto bare = race.add("limit: bare integrator", [&] {
            for (int k = 0; k < Predictor::kBlocks; ++k) {
                BareBlock up = blocks[static_cast<std::size_t>(k % kBareBlocks)];
                if (start.cases > 1) {
                    integrator.climb(up);
                } else {
                    up.opens = {all(-10), all(std::numeric_limits<double>::infinity())};
                }
                for (int kind = 0; kind < start.cases; ++kind) {
                    if (kind > 0 && k % Predictor::kShare != 0) continue;
                    BareBlock down = up;
                    integrator.descend(down, kind == 0, kind < 2);
                    sink += down.t[0];
                }
            }
        });
        race.run(7);
        std::printf(" %s\n", start.words);
        for (const auto id : {ours, bare}) {
            std::printf("  %-28s %8.0f flights/s, %6.1f ms a round  (spread %.0f %%)\n", race.name(id).c_str(),
                        Predictor::kFlights * start.cases / race.median_s(id), 1e3 * race.median_s(id),
                        race.spread_percent(id));
        }
        std::printf("  ratio to the limit: %.2f\n", race.median_s(bare) / race.median_s(ours));
    }
    return std::isfinite(sink) ? 0 : 1; // keeps the work from being optimised away
}
