#include "server/estimate/translation/translation_input.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector3d;

namespace {

constexpr double kReceiverSettle_s = 1.5;
constexpr double kFoundAcross_m = 15;
constexpr double kFoundUp_m = 20;
constexpr double kFound_mps = 5;

double at_least(double stated, double configured) {
    return std::isfinite(stated) && stated > 0 ? std::max(stated, configured) : configured;
}

} // namespace

TranslationInput::TranslationInput(const SensorNoise& sensors, const Site& site)
    : sensors_(sensors), frame_(site.pad) {}

std::optional<TranslationFix> TranslationInput::fix(const FixSample& sample) {
    if (sample.fix_dimensions < 2) {
        lost_ = true;
        return std::nullopt;
    }
    if (!std::isfinite(sample.latitude_deg) || !std::isfinite(sample.longitude_deg)) return std::nullopt;
    if (lost_) t_found_ns_ = sample.t_ns;
    lost_ = false;
    const bool has_height = sample.fix_dimensions >= 3 && std::isfinite(sample.height_ellipsoid_m);
    TranslationFix out;
    out.t_ns = sample.t_ns;
    out.t_valid_ns = sample.t_valid_ns;
    out.position_enu_m = frame_.to_enu_m(
        {sample.latitude_deg, sample.longitude_deg, has_height ? sample.height_ellipsoid_m : frame_.origin().height_m});
    out.velocity_enu_mps = sample.velocity_enu_mps;
    if (!has_height) out.position_enu_m.z() = out.velocity_enu_mps.z() = kNaN;
    const double unsettled =
        t_found_ns_ == 0 ? 0 : std::exp(-std::max(0.0, seconds_between(t_found_ns_, sample.t_ns)) / kReceiverSettle_s);
    out.horizontal_sigma_m =
        std::hypot(at_least(sample.accuracy_horizontal_m, sensors_.fix_horizontal_m), unsettled * kFoundAcross_m);
    out.vertical_sigma_m =
        std::hypot(at_least(sample.accuracy_vertical_m, sensors_.fix_vertical_m), unsettled * kFoundUp_m);
    out.speed_sigma_mps =
        std::hypot(at_least(sample.speed_accuracy_mps, sensors_.fix_speed_mps), unsettled * kFound_mps);
    return out;
}

} // namespace turnstone::estimate
