#include "tools/sim/truth/gusts.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "shared/constants.hpp"

namespace turnstone::sim {

namespace {

/// Standard deviation of both transverse states in the stationary distribution; they are uncorrelated.
constexpr double kStationary = 0.5;

} // namespace

DrydenScale dryden_scale(double height_m, double wind20_mps) {
    const double height_ft = std::clamp(height_m / kFoot_m, 10.0, 1000.0);
    const double bracket = 0.177 + 0.000823 * height_ft;
    const double sigma_vertical_mps = 0.1 * wind20_mps;
    return {.length_horizontal_m = kFoot_m * height_ft / std::pow(bracket, 1.2),
            .length_vertical_m = kFoot_m * height_ft,
            .sigma_horizontal_mps = sigma_vertical_mps / std::pow(bracket, 0.4),
            .sigma_vertical_mps = sigma_vertical_mps};
}

TransverseStep transverse_step(double x) {
    const double keep = std::exp(-x);
    const double square = keep * keep;
    // Integrals of u^n exp(-2u) from 0 to x.
    const double i0 = -0.5 * std::expm1(-2.0 * x);
    const double i1 = 0.25 * (-std::expm1(-2.0 * x) - 2.0 * x * square);
    const double i2 = 0.25 * (-std::expm1(-2.0 * x) - (2.0 * x + 2.0 * x * x) * square);
    TransverseStep step;
    step.transition << keep * (1.0 + x), keep * x, -keep * x, keep * (1.0 - x);
    step.added << i2, i1 - i2, i1 - i2, i0 - 2.0 * i1 + i2;
    return step;
}

Gusts::Gusts(Random random) : random_(random) {
    along_ = random_.normal();
    for (Eigen::Vector2d* state : {&across_, &up_}) {
        state->x() = kStationary * random_.normal();
        state->y() = kStationary * random_.normal();
    }
}

double Gusts::transverse(Eigen::Vector2d& state, double x) {
    const TransverseStep step = transverse_step(x);
    state = step.transition * state;
    // The second state's noise first: for short steps the first one's is a small difference of large numbers.
    const double second = std::sqrt(std::max(0.0, step.added(1, 1)));
    const double cross = second > 0.0 ? step.added(0, 1) / second : 0.0;
    const double a = random_.normal(), b = random_.normal();
    state.y() += second * a;
    state.x() += cross * a + std::sqrt(std::max(0.0, step.added(0, 0) - cross * cross)) * b;
    return state.x() + std::numbers::sqrt3 * state.y();
}

void Gusts::advance(double dt_s, double airspeed_mps, const DrydenScale& scale) {
    const double x = airspeed_mps * dt_s / scale.length_horizontal_m;
    along_ = std::exp(-x) * along_ + std::sqrt(-std::expm1(-2.0 * x)) * random_.normal();
    gust_mps_.x() = scale.sigma_horizontal_mps * along_;
    gust_mps_.y() = scale.sigma_horizontal_mps * transverse(across_, x);
    gust_mps_.z() = scale.sigma_vertical_mps * transverse(up_, airspeed_mps * dt_s / scale.length_vertical_m);
}

} // namespace turnstone::sim
