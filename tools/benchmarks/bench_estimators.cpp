// The estimators of one vehicle over a simulated flight, as the ingest thread runs them but without predictions (those
// are bench_predictions), beside a bare 15-state Kalman filter on the same samples: covariance prediction with each
// inertial sample, a six-dimensional update with each fix, and nothing around them. Both in one process, in turn.
#include <cstdio>
#include <limits>
#include <stdexcept>
#include <vector>

#include <Eigen/Cholesky>

#include "server/estimate/chain/chain.hpp"
#include "shared/time.hpp"
#include "tools/benchmarks/measure.hpp"
#include "tools/sim/fly.hpp"

using namespace turnstone;
using namespace turnstone::estimate;

namespace {

constexpr std::int64_t kStart_ns = 1'780'000'000'000'000'000;
constexpr std::int64_t kTick_ns = 100 * kNsPerMs;
/// Seconds on the pad that are timed with the flight. At rest nothing is propagated, so more of them would flatter the
/// figure.
constexpr double kPad_s = 5.0;

struct Session {
    Vehicle vehicle;
    Site site;
    std::vector<ImuSample> imu = {};
    std::vector<PressureSample> pressure = {};
    std::vector<FixSample> fix = {};
    std::size_t first_timed = 0; ///< of imu
};

Session record_session() {
    auto scenario =
        sim::make_scenario("nominal", bench::source("tools/demo/sanderling"), bench::source("tools/demo/site.json"));
    if (!scenario) throw std::runtime_error(scenario.error().message);
    const auto [truth, sensors] = sim::fly_sensors(*scenario, 1);
    Session out{.vehicle = scenario->vehicle, .site = scenario->site};
    const auto at = [](double t_s) { return kStart_ns + seconds_to_ns(t_s); };
    for (const auto& r : sensors.imu) {
        out.first_timed += r.t_s < truth.events.liftoff_s - kPad_s;
        if (r.t_s < truth.events.touchdown_s) out.imu.push_back({at(r.t_s), r.accel_body_mps2, r.rate_body_radps});
    }
    for (const auto& r : sensors.pressure) out.pressure.push_back({at(r.t_s), r.pressure_pa, r.temperature_k});
    for (const auto& r : sensors.fix) {
        out.fix.push_back({.t_ns = at(r.t_s),
                           .latitude_deg = r.latitude_deg,
                           .longitude_deg = r.longitude_deg,
                           .height_ellipsoid_m = r.height_msl_m + out.site.geoid_height_m,
                           .velocity_enu_mps = r.velocity_enu_mps,
                           .fix_dimensions = r.fix_dimensions,
                           .accuracy_horizontal_m = r.accuracy_horizontal_m,
                           .accuracy_vertical_m = r.accuracy_vertical_m,
                           .satellites = r.satellites});
    }
    return out;
}

/// Sums what the chain puts out, so that the compiler leaves nothing out.
class Sink final : public EstimateSink {
  public:
    void row(std::size_t, std::int64_t, std::span<const double> values) override {
        sum_ += values.empty() || values.front() != values.front() ? 0.0 : values.front();
        ++rows_;
    }
    void event(EstimateEvent) override { ++rows_; }
    [[nodiscard]] std::size_t rows() const noexcept { return rows_; }

  private:
    double sum_ = 0;
    std::size_t rows_ = 0;
};

/// Calls `on_imu`, `on_pressure`, `on_fix` and `on_tick` in the order of time for inertial samples [first, last).
template <class OnImu, class OnPressure, class OnFix, class OnTick>
void play(const Session& session, std::size_t first, std::size_t last, OnImu&& on_imu, OnPressure&& on_pressure,
          OnFix&& on_fix, OnTick&& on_tick) {
    const std::int64_t from_ns = session.imu[first].t_ns;
    std::size_t p = 0, f = 0;
    while (p < session.pressure.size() && session.pressure[p].t_ns < from_ns) ++p;
    while (f < session.fix.size() && session.fix[f].t_ns < from_ns) ++f;
    std::int64_t tick_ns = (from_ns / kTick_ns + 1) * kTick_ns;
    for (std::size_t i = first; i < last; ++i) {
        const std::int64_t t_ns = session.imu[i].t_ns;
        for (; tick_ns <= t_ns; tick_ns += kTick_ns) on_tick(tick_ns);
        for (; p < session.pressure.size() && session.pressure[p].t_ns <= t_ns; ++p) on_pressure(session.pressure[p]);
        for (; f < session.fix.size() && session.fix[f].t_ns <= t_ns; ++f) on_fix(session.fix[f]);
        on_imu(session.imu[i]);
    }
}

class Chain {
  public:
    explicit Chain(const Session& session) : session_(&session), chain_(session.vehicle, session.site, inputs()) {
        chain_.set_prediction_period(std::numeric_limits<double>::infinity());
    }
    void run(std::size_t first, std::size_t last) {
        play(
            *session_, first, last, [&](const ImuSample& s) { chain_.imu(s, sink_); },
            [&](const PressureSample& s) { chain_.pressure(s, sink_); },
            [&](const FixSample& s) { chain_.fix(s, sink_); }, [&](std::int64_t t_ns) { chain_.tick(t_ns, sink_); });
    }
    [[nodiscard]] std::size_t rows() const noexcept { return sink_.rows(); }

  private:
    static ChainInputs inputs() {
        ChainInputs inputs;
        inputs.accel_axial = inputs.accel_lateral = inputs.rates = inputs.pressure = inputs.fix = true;
        return inputs;
    }
    const Session* session_;
    EstimatorChain chain_;
    Sink sink_;
};

/// Covariance prediction and a six-dimensional update with nothing around them.
class BareFilter {
  public:
    void run(const Session& session, std::size_t first, std::size_t last) {
        play(
            session, first, last, [&](const ImuSample&) { predict(); }, [](const PressureSample&) {},
            [&](const FixSample&) { update(); }, [](std::int64_t) {});
    }
    [[nodiscard]] double trace() const { return p_.trace(); }

  private:
    using Matrix = Eigen::Matrix<double, 15, 15>;
    static Matrix transition() {
        Matrix f = Matrix::Identity();
        f.block<3, 3>(0, 3) = 0.005 * Eigen::Matrix3d::Identity();
        return f;
    }
    void predict() {
        p_ = (f_ * p_ * f_.transpose()).eval();
        p_.diagonal().array() += 1e-4;
    }
    void update() {
        const Eigen::Matrix<double, 6, 15> h = Eigen::Matrix<double, 6, 15>::Identity();
        const Eigen::Matrix<double, 6, 6> s = h * p_ * h.transpose() + Eigen::Matrix<double, 6, 6>::Identity();
        const Eigen::Matrix<double, 15, 6> gain = s.ldlt().solve(h * p_).transpose();
        const Matrix keep = Matrix::Identity() - gain * h;
        p_ = (keep * p_ * keep.transpose() + gain * gain.transpose()).eval();
    }
    Matrix p_ = Matrix::Identity();
    Matrix f_ = transition();
};

} // namespace

int main() {
    const Session session = record_session();
    const std::size_t first = session.first_timed, last = session.imu.size();
    const auto samples = static_cast<double>(last - first);

    // Rounds begin with a chain aligned on the pad; getting it there is not timed.
    constexpr int kRounds = 15;
    std::vector<Chain> chains;
    for (int k = 0; k < kRounds; ++k) chains.emplace_back(session).run(0, first);
    std::size_t round = 0;
    BareFilter filter;
    bench::Race race;
    const auto ours = race.add(
        "all estimators without predictions", [&] { chains[round++].run(first, last); });
    const auto bare = race.add("limit: bare 15-state filter", [&] { filter.run(session, first, last); });
    race.run(kRounds);

    std::printf("estimators: a flight of %.0f s and %.0f s on the pad, %.0f inertial samples, %zu pressures, %zu "
                "fixes, %zu rows out\n",
                samples / 200 - kPad_s, kPad_s, samples, session.pressure.size(), session.fix.size(), chains[0].rows());
    for (const auto id : {ours, bare}) {
        std::printf("  %-44s %9.0f inertial samples/s  (spread %.0f %%)\n", race.name(id).c_str(),
                    samples / race.median_s(id), race.spread_percent(id));
    }
    std::printf("  ratio to the limit: %.2f\n", race.median_s(bare) / race.median_s(ours));

    // Where the time goes: after liftoff navigation carries several hypotheses of its alignment until fixes decide.
    constexpr std::size_t kPart = 400;
    Chain chain(session);
    chain.run(0, first);
    double slowest_s = 0;
    for (std::size_t from = first; from + kPart <= last; from += kPart) {
        const auto start = std::chrono::steady_clock::now();
        chain.run(from, from + kPart);
        slowest_s =
            std::max(slowest_s, std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
    }
    std::printf("  slowest two seconds of the flight            %9.0f inertial samples/s\n", kPart / slowest_s);
    return filter.trace() > 0 ? 0 : 1; // keeps the work from being optimised away
}
