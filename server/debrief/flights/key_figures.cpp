#include "server/debrief/flights/key_figures.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>
#include <optional>
#include <utility>

#include "server/debrief/flights/silences.hpp"
#include "shared/time.hpp"

namespace turnstone::debrief {

namespace {

constexpr double kUnknown = std::numeric_limits<double>::quiet_NaN();
constexpr double kDegreesPerRadian = 180 / std::numbers::pi;
/// The highest altitude that was measured is the apogee when it was measured this near to it: a vehicle falls 5 m in
/// the first second.
constexpr double kNearApogee_s = 1.0;
/// Rows of an estimate that is fed are nearer together than this.
constexpr double kNearRow_s = 0.5;
/// Descent is steady by then: the table "derived" counts from there.
constexpr double kParachuteSettles_s = 2.0;
constexpr const char* kSurfaceWind = "wind_0m_mps";

struct Value {
    double value = kUnknown;
    double sigma = kUnknown;
};

class Figures {
  public:
    Figures(const Recorded& recorded, const Chapter& chapter)
        : recorded_(recorded), chapter_(chapter), liftoff_ns_(*chapter.liftoff_ns),
          derived_(row_at("estimate/derived", chapter.window.to_ns - 1)) {}

    /// Seconds from liftoff.
    [[nodiscard]] Value after_liftoff(const std::optional<std::int64_t>& t_ns, double sigma_s) const {
        if (!t_ns) return {};
        return {seconds_between(liftoff_ns_, *t_ns), std::hypot(chapter_.liftoff_sigma_s, sigma_s)};
    }
    [[nodiscard]] Value derived(std::string_view column) const {
        if (!derived_) return {};
        return {derived_->value(column), derived_->sigma(column)};
    }
    [[nodiscard]] Value apogee() const {
        if (!chapter_.apogee_ns || !derived_) return {};
        const double apogee_s = seconds_between(liftoff_ns_, *chapter_.apogee_ns);
        const double off_s = std::fabs(derived_->value("altitude_max_t_s") - apogee_s);
        return off_s <= kNearApogee_s + 2 * chapter_.apogee_sigma_s ? derived("altitude_max_m") : Value{};
    }
    /// The mean that the table "derived" has. How well it is known: by the altitudes between which it lies.
    [[nodiscard]] Value rate(std::string_view column, std::string_view phase) const {
        Value rate = derived(column);
        const auto found = std::ranges::find(chapter_.phases, phase, &ChapterPhase::word);
        if (found == chapter_.phases.end()) return {};
        const auto first = vertical_near(found->t_ns + seconds_to_ns(kParachuteSettles_s));
        const auto last = vertical_at(found->until_ns);
        if (!first || !last || last->t_ns() <= first->t_ns()) return {};
        rate.sigma = std::hypot(first->sigma("altitude_m"), last->sigma("altitude_m")) /
                     seconds_between(first->t_ns(), last->t_ns());
        return rate;
    }
    [[nodiscard]] Value main_out() const {
        if (!chapter_.main_out_ns) return {};
        const auto row = vertical_near(*chapter_.main_out_ns);
        if (!row) return {};
        return {row->value("altitude_m"),
                std::hypot(row->sigma("altitude_m"), row->value("vertical_speed_mps") * chapter_.main_out_sigma_s)};
    }
    /// Distance and bearing from the pad: as navigation has it at the end, else where the vehicle was last heard.
    [[nodiscard]] std::pair<Value, Value> landing() const {
        if (!chapter_.touchdown_ns) return {};
        auto row = row_at("estimate/navigation", chapter_.window.to_ns - 1);
        const bool is_navigated = row && std::isfinite(row->value("east_m"));
        if (!is_navigated) row = row_at("estimate/last_place", chapter_.window.to_ns - 1);
        if (!row || row->t_ns() < *chapter_.touchdown_ns) return {};
        const double east_m = row->value("east_m"), north_m = row->value("north_m");
        const double distance_m = std::hypot(east_m, north_m);
        const double east_sigma_m = is_navigated ? row->sigma("east_m") : row->value("horizontal_sigma_m");
        const double north_sigma_m = is_navigated ? row->sigma("north_m") : east_sigma_m;
        if (!(distance_m > 0)) return {{distance_m, std::hypot(east_sigma_m, north_sigma_m)}, {}};
        const double along_m = std::hypot(east_m * east_sigma_m, north_m * north_sigma_m) / distance_m;
        const double across_m = std::hypot(north_m * east_sigma_m, east_m * north_sigma_m) / distance_m;
        const double bearing_deg = std::atan2(east_m, north_m) * kDegreesPerRadian;
        return {{distance_m, along_m},
                {bearing_deg < 0 ? bearing_deg + 360 : bearing_deg,
                 std::min(180.0, across_m / distance_m * kDegreesPerRadian)}};
    }
    /// As the predictions had it when the vehicle left.
    [[nodiscard]] Value wind() const {
        const auto row = row_at("estimate/landing", liftoff_ns_);
        if (!row) return {};
        return {row->value(kSurfaceWind), row->sigma(kSurfaceWind)};
    }
    [[nodiscard]] Value lost() const {
        return {lost_fraction(recorded_, chapter_.vehicle, chapter_.flown()), kUnknown};
    }

  private:
    /// The last row of the chapter until then.
    [[nodiscard]] std::optional<RowValues> row_at(std::string_view table, std::int64_t t_ns) const {
        auto row = recorded_.row_at(recorded_.table(chapter_.vehicle, table), t_ns);
        if (row && row->t_ns() < chapter_.window.from_ns) row.reset();
        return row;
    }
    [[nodiscard]] std::optional<RowValues> vertical_at(std::int64_t t_ns) const {
        return row_at("estimate/vertical", t_ns);
    }
    [[nodiscard]] std::optional<RowValues> vertical_near(std::int64_t t_ns) const {
        auto row = vertical_at(t_ns);
        if (row && seconds_between(row->t_ns(), t_ns) > kNearRow_s) row.reset();
        return row;
    }

    const Recorded& recorded_;
    const Chapter& chapter_;
    std::int64_t liftoff_ns_;
    std::optional<RowValues> derived_;
};

} // namespace

std::vector<Figure> key_figures(const Recorded& recorded, const Chapter& chapter) {
    const Figures of(recorded, chapter);
    const auto [distance, bearing] = of.landing();
    std::vector<Figure> figures;
    const auto add = [&](std::string_view key, std::string_view title, std::string_view unit, Value value) {
        figures.push_back({key, title, unit, value.value, std::isnan(value.value) ? kUnknown : value.sigma});
    };
    add("apogee_m", "Apogee AGL", "m", of.apogee());
    add("apogee_s", "Time to apogee", "s", of.after_liftoff(chapter.apogee_ns, chapter.apogee_sigma_s));
    add("burnout_s", "Burn time", "s", of.after_liftoff(chapter.burnout_ns, chapter.burnout_sigma_s));
    add("maximum_speed_mps", "Maximum vertical speed", "m/s", of.derived("vertical_speed_max_mps"));
    add("maximum_acceleration_mps2", "Maximum acceleration", "m/s2", of.derived("force_max_mps2"));
    add("drogue_rate_mps", "Descent rate, drogue", "m/s", of.rate("drogue_rate_mps", "under drogue"));
    add("main_out_m", "Main out AGL", "m", of.main_out());
    add("main_rate_mps", "Descent rate, main", "m/s", of.rate("main_rate_mps", "under main"));
    add("landing_m", "Landing, from the pad", "m", distance);
    add("landing_deg", "Landing, bearing", "deg", bearing);
    add("duration_s", "Duration", "s", of.after_liftoff(chapter.touchdown_ns, chapter.touchdown_sigma_s));
    add("wind_mps", "Surface wind", "m/s", of.wind());
    add("lost_share", "Packets lost", "{fraction}", of.lost());
    return figures;
}

} // namespace turnstone::debrief
