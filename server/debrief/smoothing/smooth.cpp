#include "server/debrief/smoothing/smooth.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <span>
#include <utility>

#include "server/debrief/flight_request.hpp"
#include "server/estimate/math/angles.hpp"
#include "server/estimate/navigation/navigation.hpp"
#include "server/estimate/smoothing/rts.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/record/stored_inputs.hpp"
#include "shared/time.hpp"

namespace turnstone::debrief {

namespace {

using namespace estimate;

/// Of the work, what going through the bytes is; the rest is going back.
constexpr double kForwardShare = 0.7;
/// Measurements that come late belong to the flight too.
constexpr std::int64_t kLateNs = 10 * kNsPerS;

/// Ends the reading of inputs, which goes on to the last by itself.
struct EnoughRead {
    bool asked_to_stop;
};

struct SmoothedState {
    const char *key, *title, *unit;
    int decimals, state;
    bool is_height;
};
using V = VerticalState;
using T = TranslationState;
constexpr std::array kVerticalShown{
    SmoothedState{"altitude_m", "Altitude AGL", "m", 1, vertical_states::kH, true},
    SmoothedState{"vertical_speed_mps", "Vertical speed", "m/s", 1, vertical_states::kV, false},
    SmoothedState{"acceleration_mps2", "Vertical acceleration", "m/s2", 1, vertical_states::kA, false}};
constexpr std::array kTranslationShown{
    SmoothedState{"east_m", "East of the pad", "m", 1, T::kPosition, false},
    SmoothedState{"north_m", "North of the pad", "m", 1, T::kPosition + 1, false},
    SmoothedState{"velocity_east_mps", "Velocity east", "m/s", 2, T::kVelocity, false},
    SmoothedState{"velocity_north_mps", "Velocity north", "m/s", 2, T::kVelocity + 1, false}};

double sigma_of(double variance, double more) {
    return std::hypot(std::sqrt(std::max(0.0, variance)), more);
}

/// `about`: the same moment from both sides. A sigma that each would make of its own motion could not be compared.
const VerticalKalman& shown_of(const VerticalKalman& state, const VerticalKalman&) {
    return state;
}
KalmanState<T::kSize> shown_of(const KalmanState<T::kSize>& state, const KalmanState<T::kSize>& about) {
    return T::on_time(state, about);
}

/// Between `from` and `to` of the work. False: asked to stop.
template <int N>
bool add_smoothed(const ForwardPass<N>& pass, std::span<const SmoothedState> shown, Window window, double reference_m,
                  const std::function<bool(double)>& part, std::vector<SmoothedSeries>& out) {
    const auto& steps = pass.steps();
    const auto first = std::ranges::lower_bound(steps, window.from_ns, {}, &ForwardStep<N>::t_ns);
    const auto last = std::ranges::lower_bound(steps, window.to_ns, {}, &ForwardStep<N>::t_ns);
    const std::span<const ForwardStep<N>> flown(first, last);
    if (flown.empty()) return true;
    constexpr std::size_t kAskedEach = 500; // some 20 ms
    const auto go_on = [&](std::size_t done) {
        return done % kAskedEach != 0 || part(static_cast<double>(done) / static_cast<double>(flown.size()));
    };
    const std::vector<KalmanState<N>> back = smoothed<N>(flown, go_on);
    if (back.empty()) return false;
    const std::size_t before = out.size();
    for (const SmoothedState& about : shown)
        out.push_back({about.key, about.title, about.unit, about.decimals, {}, {}, {}, {}, {}});
    for (std::size_t k = 0; k < flown.size(); ++k) {
        // Of steps at one time the last has all of it.
        if (k + 1 < flown.size() && flown[k + 1].t_ns <= flown[k].t_ns) continue;
        const auto& both = shown_of(back[k], back[k]);
        const auto& then = shown_of(flown[k].corrected, back[k]);
        for (std::size_t i = 0; i < shown.size(); ++i) {
            const int state = shown[i].state;
            const double more = shown[i].is_height ? reference_m : 0.0;
            SmoothedSeries& series = out[before + i];
            series.t_ns.push_back(flown[k].t_ns);
            series.value.push_back(both.x(state));
            series.sigma.push_back(sigma_of(both.covariance(state, state), more));
            series.filter_value.push_back(then.x(state));
            series.filter_sigma.push_back(sigma_of(then.covariance(state, state), more));
        }
    }
    return true;
}

/// Of the attitude what one number says: its errors are judged by all three axes.
void add_tilt(const std::vector<SmoothedAttitude>& attitude, Window window, std::vector<SmoothedSeries>& out) {
    SmoothedSeries series{"tilt_deg", "Tilt from vertical", "deg", 1, {}, {}, {}, {}, {}};
    for (const auto& [both, said] : attitude) {
        if (both.t_ns < window.from_ns || both.t_ns >= window.to_ns) continue;
        const Tilt found = tilt_of(both.q_local_body, both.covariance_rad2);
        const Tilt then = tilt_of(said.q_local_body, said.covariance_rad2);
        series.t_ns.push_back(both.t_ns);
        series.value.push_back(degrees(found.rad));
        series.sigma.push_back(degrees(found.sigma_rad));
        series.filter_value.push_back(degrees(then.rad));
        series.filter_sigma.push_back(degrees(then.sigma_rad));
    }
    if (!series.t_ns.empty()) out.push_back(std::move(series));
}

std::vector<double> rounded_to(const std::vector<double>& values, int decimals) {
    const double scale = std::pow(10.0, decimals);
    std::vector<double> out(values);
    for (double& value : out) value = std::round(value * scale) / scale;
    return out;
}

} // namespace

Result<StepsLeft> steps_of(OpenFlight& flight, const Advance& advance) {
    const auto setup = flight.reader().setup();
    if (!setup) return tl::unexpected(setup.error());
    const Window flown = flight.chapter().flown();
    const std::int64_t start_ns = flight.recorded().info().t_start_ns;
    const std::int64_t enough_ns = flown.to_ns + kLateNs;
    Pipeline pipeline(*setup, start_ns);
    pipeline.fly_one_prediction_in(0); // nothing rests on them
    StepsLeft steps;
    bool flying = false;
    const auto on_input = [&](const Inputs&) {
        const std::int64_t now_ns = pipeline.progress().t_ns;
        // What came before would fill the pass with another flight.
        if (!flying && now_ns >= flown.from_ns - kLateNs) {
            pipeline.leave_steps(flight.chapter().vehicle, &steps);
            flying = true;
        }
        const double part = seconds_between(start_ns, now_ns) / seconds_between(start_ns, enough_ns);
        if (!advance(kForwardShare * std::clamp(part, 0.0, 1.0))) throw EnoughRead{true};
        if (now_ns > enough_ns) throw EnoughRead{false};
    };
    std::string damage;
    try {
        damage = feed_stored_inputs(
            flight.reader(), kAllInputs, pipeline, std::min(enough_ns, flight.recorded().info().t_end_ns), on_input,
            [](const Batch&) {});
    } catch (const EnoughRead& end) {
        if (end.asked_to_stop) return stopped();
    }
    if (!damage.empty())
        return fail(to_string(flight.id()) + ": its recording is damaged: " + damage +
                    "; 'turnstone reprocess' makes a new one of what can be read");
    pipeline.leave_last_steps(flight.chapter().vehicle);
    if (steps.vertical.full() || steps.translation.full())
        return fail(to_string(flight.id()) + ": is too long to go back along: more than " +
                    std::to_string(steps.vertical.steps().size()) + " corrections of a filter");
    return steps;
}

Result<std::vector<SmoothedSeries>> smoothed_series(const StepsLeft& steps, Window window, const Advance& advance) {
    std::vector<SmoothedSeries> out;
    const auto third = [&](double from) {
        return
            [&advance, from](double part) { return advance(kForwardShare + (1 - kForwardShare) * (from + part / 3)); };
    };
    if (!add_smoothed<kVerticalStates>(steps.vertical, kVerticalShown, window, steps.reference_sigma_m, third(0),
                                       out) ||
        !add_smoothed<TranslationState::kSize>(steps.translation, kTranslationShown, window, 0, third(1.0 / 3), out))
        return stopped();
    if (!steps.attitude.full() && !steps.attitude.pieces().empty()) {
        const auto attitude = smoothed(steps.attitude, window.to_ns, third(2.0 / 3));
        if (!attitude) return stopped();
        add_tilt(*attitude, window, out);
    }
    if (out.empty()) return fail("nothing to smooth: the vehicle sends no pressure, no acceleration and no fixes");
    return out;
}

Result<nlohmann::json> smooth(const Recordings& recordings, const nlohmann::json& request, const Advance& advance) {
    const auto id = parse_flight_request(request, "smooth");
    if (!id) return tl::unexpected(id.error());
    const auto flight = open_flight(recordings, *id);
    if (!flight) return tl::unexpected(flight.error());
    const auto steps = steps_of(**flight, advance);
    if (!steps) return tl::unexpected(steps.error());
    const Chapter& chapter = (*flight)->chapter();
    const auto series = smoothed_series(*steps, chapter.flown(), advance);
    if (!series) return tl::unexpected(series.error());
    nlohmann::json out = nlohmann::json::array();
    for (const SmoothedSeries& one : *series) {
        std::vector<double> t_s;
        for (const std::int64_t t_ns : one.t_ns) t_s.push_back(seconds_between(*chapter.liftoff_ns, t_ns));
        constexpr int kDigitsMore = 2;
        const int decimals = one.decimals + kDigitsMore;
        out.push_back({{"key", one.key},
                       {"title", one.title},
                       {"unit", one.unit},
                       {"t_s", rounded_to(t_s, 3)},
                       {"value", rounded_to(one.value, decimals)},
                       {"sigma", rounded_to(one.sigma, decimals)},
                       {"filter_value", rounded_to(one.filter_value, decimals)},
                       {"filter_sigma", rounded_to(one.filter_sigma, decimals)}});
    }
    return nlohmann::json{{"series", std::move(out)}};
}

} // namespace turnstone::debrief
