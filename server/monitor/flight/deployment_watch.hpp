#pragma once
/// Parachutes: which are due, which carry, and what comes of one that does not.
///
/// A parachute is judged by what it does to the descent, not by its charge: a pulse of pressure shows that something
/// fired. Along a steady or slowly changing vertical motion the drag area that carries the vehicle follows from mass m,
/// air density d, fall rate v and its gain a = dv/dt (Newton's second law with quadratic drag):
///
///     area = 2 m (g - a) / (d v²)
///
/// It is held against the area of the parachutes that are due. Nothing is said before the fall rate alone exceeds what
/// those parachutes allow, by their scatter in the vehicle file, the rate's own 1-sigma and gusts: up to there nobody
/// can know; and a source of rates that shows a slower fall than that contradicts any other. So does one that
/// contradicts itself: nothing pushes a vehicle down, so that it falls no faster than it did plus gravity since. Where
/// the first parachute due does not carry: no_parachute. Where one carries and the next does not: parachute_late. In
/// between: parachute_partial. A first parachute that opened well behind its time is late until touchdown, since it may
/// have torn.
#include <array>
#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "server/estimate/table.hpp"
#include "server/monitor/condition.hpp"
#include "server/monitor/flight/flight_view.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone {

enum class ParachuteState : unsigned char {
    not_due,
    due,   ///< its moment has come; whether it carries cannot be known yet
    out,   ///< seen
    late,  ///< should carry, and does not
    failed ///< late, and the fall goes on unbraked or near the ground
};
consteval auto words_of(ParachuteState) {
    return words<ParachuteState::failed>("not due", "due", "out", "late", "failed");
}

struct ParachuteFigures {
    double expected_in_s = kNaN; ///< until its moment; negative: since it. NaN: not known
    ParachuteState state = ParachuteState::not_due;
    double rate_low_mps = kNaN, rate_high_mps = kNaN; ///< of the fall once it carries, 1-sigma either side
};

struct Impact {
    double in_s = kNaN;
    double east_m = kNaN, north_m = kNaN;
    double semi_major_m = kNaN; ///< of the 95 % ellipse
};

/// An impact without a parachute that nobody heard: its moment passed in silence.
struct PastImpact {
    std::int64_t t_ns; ///< when it was expected
    double east_m, north_m;
};

struct DeploymentFigures {
    std::vector<ParachuteFigures> parachutes;
    double rate_mps = kNaN, rate_sigma_mps = kNaN; ///< measured, down positive
    double no_parachute_rate_mps = kNaN;           ///< of a fall since apogee without any
    Impact impact;                                 ///< without any parachute from here; while descending
};

/// What the columns of the k-th parachute begin with: its name in snake case, or its number.
[[nodiscard]] std::string parachute_stem(const RocketModel& rocket, std::size_t parachute);

class DeploymentWatch {
  public:
    /// An impact without a parachute is announced this long before.
    static constexpr double kImpactAhead_s = 10.0;

    DeploymentWatch(const Vehicle& vehicle, const Site& site);

    /// At each tick. Nothing of a vehicle without parachutes.
    void judge(const FlightView& view, std::vector<Condition>& conditions);
    /// As of the last tick.
    [[nodiscard]] const DeploymentFigures& figures() const noexcept { return figures_; }
    /// No parachute is seen where one should carry.
    [[nodiscard]] bool none_seen() const noexcept { return none_; }
    /// Until the vehicle is heard again or the next flight.
    [[nodiscard]] const std::optional<PastImpact>& past_impact() const noexcept { return past_impact_; }

    /// "deployment", with columns for each parachute; empty where the vehicle has none.
    [[nodiscard]] static std::optional<TableOf<DeploymentFigures>> table(const Vehicle& vehicle);

  private:
    struct Rate {
        std::int64_t t_ns;
        double down_mps, sigma_mps;
    };
    /// How fast it falls, what it gains, and the drag area that carries it.
    struct Fall {
        double rate_mps, sigma_mps, gain_mps2, area_m2;
        std::int64_t t_ns;
    };
    /// What is wrong, and with which parachute.
    enum class Finding : unsigned char { fine, none, late, partial };
    struct Found {
        Finding finding = Finding::fine;
        std::size_t parachute = 0;
        friend bool operator==(const Found&, const Found&) = default;
    };

    void begin_flight();
    /// Measured lately, or else the standard atmosphere's.
    [[nodiscard]] double density_kg_m3(const FlightView& view) const;
    void follow_due(const FlightView& view);
    struct Rates {
        std::deque<Rate> newest;     ///< of one source
        double most_mps = kInfinity; ///< that it can fall at the newest, by those before and gravity
    };
    void follow_rate(const Figure& speed, Rates& rates) const;
    [[nodiscard]] std::optional<Fall> fall(const FlightView& view, const Rates& rates) const;
    /// By all sources; empty: too little is measured.
    [[nodiscard]] std::optional<Found> find(const FlightView& view) const;
    /// Empty: a parachute is just filling.
    [[nodiscard]] std::optional<Found> find(const FlightView& view, const Fall& fall) const;
    [[nodiscard]] double allowed_mps(const FlightView& view, double area_m2) const;
    void settle(const FlightView& view, const Found& found);
    void fill_figures(const FlightView& view);
    [[nodiscard]] double area_of_due(std::int64_t t_ns, std::size_t* newest) const;
    [[nodiscard]] double rate_under(double area_m2, double density_kg_m3) const;
    [[nodiscard]] double free_fall_s(const FlightView& view) const;
    [[nodiscard]] Impact impact(const FlightView& view) const;
    [[nodiscard]] bool must_have_hit(const FlightView& view) const;
    [[nodiscard]] std::optional<double> opened_late_s(const FlightView& view) const;

    std::optional<RocketModel> rocket_; ///< with parachutes; empty: nothing to watch
    double gravity_mps2_;
    double pad_msl_m_;
    double rate_scatter_;                             ///< relative, of a fall rate under a parachute
    double slack_s_ = 0;                              ///< from a parachute's moment until it must carry
    std::vector<std::optional<std::int64_t>> due_ns_; ///< by parachute: its moment, once that has come
    std::array<Rates, 4> rates_;                      ///< by MotionSource
    Found settled_;                                   ///< what is announced
    Found seen_;                                      ///< by the newest rates
    std::int64_t seen_since_ns_ = 0;
    std::optional<std::int64_t> flight_ns_; ///< liftoff, or joined
    bool none_ = false, had_none_ = false;  ///< now; in this flight
    DeploymentFigures figures_;
    std::int64_t t_impact_ns_ = 0; ///< of figures_.impact; 0: not known
    std::optional<PastImpact> past_impact_;
};

} // namespace turnstone
