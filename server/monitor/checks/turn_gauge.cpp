#include "server/monitor/checks/turn_gauge.hpp"

#include <algorithm>
#include <cmath>
#include <deque>
#include <limits>
#include <numbers>
#include <optional>
#include <utility>

#include <Eigen/Geometry>
#include <fmt/format.h>

#include "server/monitor/checks/value_gauges.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

using Eigen::Vector3d;

constexpr Eigen::Index kAxes = 3;
constexpr std::size_t kSamplesLeast = 6; // both halves of a mean need a scatter
// What counts as rest, common practice, no source. Offset and scale of a sensor that can be flown with stay below the
// first, its noise and the wind on a rail below the second; hands on a rail and a motor do not.
constexpr double kOffGravity_mps2 = 1.5;
constexpr double kScatter_mps2 = 3.0;
// The two halves of a mean at rest have one direction: to half a degree of gravity, or to what their noise allows.
constexpr double kHalves_mps2 = 0.5 * std::numbers::pi / 180 * kGravityStandard_mps2;
constexpr double kHalvesSigmas = 4;
constexpr double kSaidNow_s = 1; // a statement that was found later than this says nothing of the samples at hand

double degrees_between(const Vector3d& a, const Vector3d& b) {
    return std::atan2(a.cross(b).norm(), a.dot(b)) * 180 / std::numbers::pi;
}

class TurnGauge final : public Gauge {
  public:
    TurnGauge(const Check& check, BoundColumns value, std::string vehicle, const Logbook& book, bool since_begin)
        : value_(std::move(value)), vehicle_(std::move(vehicle)), since_(check.since), title_(check.since_title),
          over_ns_(seconds_to_ns(check.over_s)), book_(&book), since_begin_(since_begin) {}

    void begin(std::int64_t t_ns) override {
        since_ns_ = t_ns;
        samples_.clear();
        from_.reset();
    }

    void row(const Row& row) override {
        if (row.table != value_.table || (!samples_.empty() && row.t_ns < samples_.back().t_ns)) return;
        Vector3d force;
        for (Eigen::Index axis = 0; axis < kAxes; ++axis)
            force[axis] = row.numbers[value_.places[static_cast<std::size_t>(axis)]];
        if (!force.allFinite()) return;
        samples_.push_back({row.t_ns, force});
        if (samples_.size() > kValuesKept) samples_.pop_front();
    }

    void measure_from(const Baseline& before) override {
        if (before.values.size() != kAxes) return;
        from_ = From{before.t_ns, Vector3d(before.values[0], before.values[1], before.values[2])};
    }
    [[nodiscard]] std::optional<Baseline> baseline() const override {
        if (!from_ || !from_->mean) return {};
        return Baseline{from_->t_said_ns, {from_->mean->x(), from_->mean->y(), from_->mean->z()}};
    }

    Reading at(std::int64_t t_ns) override {
        const std::optional<Vector3d> now = mean_at_rest(t_ns);
        const auto said = book_->statement(vehicle_, since_);
        if (!said || !said->holds || (since_begin_ && said->t_ns < since_ns_))
            return {.why = "nobody has confirmed \"" + title_ + "\" yet"};
        if (!from_ || from_->t_said_ns != said->t_ns) {
            const bool is_said_now = seconds_between(said->t_ns, t_ns) <= kSaidNow_s;
            from_ = From{said->t_ns, is_said_now ? now : std::nullopt};
        }
        const double over_s = seconds_between(0, over_ns_);
        if (!from_->mean)
            return {.t_ns = said->t_ns,
                    .why = fmt::format("not {:.3g} s at rest before \"{}\" was confirmed: confirm it again", over_s,
                                       title_),
                    .cannot = true};
        if (!now) return {.why = fmt::format("not yet at rest for {:.3g} s", over_s)};
        return {.value = degrees_between(*from_->mean, *now), .t_ns = samples_.back().t_ns};
    }

  private:
    struct Sample {
        std::int64_t t_ns;
        Vector3d force_mps2;
    };
    struct From {
        std::int64_t t_said_ns;
        std::optional<Vector3d> mean; ///< empty: it was not at rest
    };

    [[nodiscard]] double spanned_s() const {
        return samples_.empty() ? 0 : seconds_between(samples_.front().t_ns, samples_.back().t_ns);
    }

    /// Of the last `over_s`; empty: too little, or no rest.
    [[nodiscard]] std::optional<Vector3d> mean_at_rest(std::int64_t t_ns) {
        while (!samples_.empty() && samples_.front().t_ns < t_ns - over_ns_) samples_.pop_front();
        if (samples_.size() < kSamplesLeast || spanned_s() < seconds_between(0, over_ns_) / 2) return {};
        const std::size_t half = samples_.size() / 2;
        Vector3d first = Vector3d::Zero(), second = Vector3d::Zero();
        for (std::size_t k = 0; k < samples_.size(); ++k) (k < half ? first : second) += samples_[k].force_mps2;
        const auto count = static_cast<double>(samples_.size());
        const Vector3d mean = (first + second) / count;
        first /= static_cast<double>(half);
        second /= static_cast<double>(samples_.size() - half);
        double squares = 0;
        for (const Sample& each : samples_) squares += (each.force_mps2 - mean).squaredNorm();
        const double scatter_mps2 = std::sqrt(squares / (count - 1));
        const double halves_mps2 = std::max(kHalves_mps2, kHalvesSigmas * scatter_mps2 * 2 / std::sqrt(count));
        const bool at_rest = std::abs(mean.norm() - kGravityStandard_mps2) <= kOffGravity_mps2 &&
                             scatter_mps2 <= kScatter_mps2 && (first - second).norm() <= halves_mps2;
        if (at_rest) return mean;
        samples_.clear();
        return {};
    }

    BoundColumns value_;
    std::string vehicle_, since_, title_;
    std::int64_t over_ns_;
    const Logbook* book_;
    bool since_begin_;
    std::int64_t since_ns_ = 0;
    std::deque<Sample> samples_; ///< in the order of time
    std::optional<From> from_;
};

} // namespace

std::unique_ptr<Gauge> make_turn_gauge(const Check& check, const BoundColumns& value, std::string vehicle,
                                       const Logbook& book, bool since_begin) {
    return std::make_unique<TurnGauge>(check, value, std::move(vehicle), book, since_begin);
}

} // namespace turnstone
