#pragma once
/// Which phase a flight is in, and when each began.
///
/// Inputs: axial specific force and its magnitude [m/s2], lateral body rate [rad/s], heights from static pressure above
/// the pad [m] with 1-sigma, and the vertical filter's estimate. Any of them may be missing (NaN, or never called):
/// with barometer only, inertial sensor only or both the same phases come out, with other uncertainties.
///
/// Each change is decided on evidence that lasts, later than it happened, and then back-dated to when it began:
///   lift-off     inertial: axial thrust of at least kThrust_mps2 for kThrustTime_s that gained kThrustSpeed_mps, from
///   an
///                upright rest, without lateral rotation, and confirmed by a rising barometer where one works. Onset
///                of the thrust. Barometer alone: a climb faster than 10 m/s through 30 m in four quarters of a second
///                or more, unless an inertial sensor sees rest. Neither, in a fade: upright before it, weightless after
///                it. Root of h against t (uniform acceleration) gives the onset.
///   burn-out     inertial: axial force stays below kCoastForce_mps2. The end of the fall of thrust, not its middle.
///   Barometer: the
///                bend of the climb (climb_bend.hpp).
///   apogee       the filter's vertical speed is below zero for good; zero crossing, free fall carried back. Or,
///   whatever
///                the filter says, a fall of 25 m below the highest height.
///   deployment   inertial: shock after apogee. Barometer: slower than free fall for good, or the break in descent
///   rate. landing      heights stand still and no shaking. Last shock before it, or where the descent meets the
///   ground.
/// What is not seen in a gap of reception is dated inside the gap, with the gap's width as uncertainty.
///
/// Silence in flight. Seen last within kNearGround_s of the ground, by its speed of then, and silent kSilence_s beyond
/// that: contact lost, presumed down, dated to the expected impact. Seen last higher up: the same only once even a
/// descent at kSlowestDescent_mps would have ended; the time is then the middle between that and a free fall, and its
/// 1-sigma says so. It is never called a landing: whatever is received afterwards takes it back, and a vehicle at rest
/// then has landed.
///
/// Another flight in the same recording: kNextFlight_s after a landing, handled since, and then upright at rest for
/// kStands_s on end (a vehicle lies after landing; nobody stands it up and leaves it alone but on the pad). After a
/// reboot on the ground, upright at rest for kStandsRebooted_s. With a barometer alone nobody sees who stands it up:
/// kRestBlind_s at one height, which no flight is prepared faster than. Until then nothing is taken for a lift-off, so
/// carrying it back is none; after it the rules of the pad hold.
///
/// No randomness, no clock; samples older than the newest of their kind are ignored; NaN is ignored. A lift-off after
/// which the vehicle stands at rest at the pad's height within kWithdraw_s is withdrawn. reset() starts anew on the
/// pad.
#include <cstdint>
#include <optional>
#include <vector>

#include "server/estimate/math/history.hpp"
#include "server/estimate/phases/phase.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"

namespace turnstone {

struct PhaseSettings {
    double gravity_mps2 = 9.80665;
    double accel_noise_mps2 = 0.3;
    double accel_range_mps2 = 157.0;
    /// Parachutes in order of use; with one only, its deployment begins the main descent.
    int parachutes = 2;
    /// How long after the bend of the climb thrust ends, and 1-sigma (climb_bend.hpp).
    double bend_to_burn_out_s = 0.1;
    double bend_to_burn_out_sigma_s = 0.1;
};

class PhaseDetector {
  public:
    static constexpr double kThrust_mps2 = 4.0; ///< above rest
    static constexpr double kThrustTime_s = 0.22;
    static constexpr double kThrustSpeed_mps = 5.0;
    static constexpr double kThrustRise_m = 4.0;          ///< by pressure, before the barometer has confirmed
    static constexpr double kThrustSpeedAlone_mps = 15.0; ///< without a barometer to ask
    static constexpr double kLateralRate_rad_s = 3.0;     ///< swung by hand, not launched
    static constexpr double kCoastForce_mps2 = 1.5;
    static constexpr double kWithdraw_s = 6.0;
    static constexpr double kSilence_s = 5.0; ///< longer than fades are
    static constexpr double kNearGround_s = 10.0;
    static constexpr double kSlowestDescent_mps = 3.0;
    static constexpr double kNextFlight_s = 60.0; ///< nobody is back on the pad sooner
    static constexpr double kStands_s = 20.0;
    static constexpr double kStandsRebooted_s = 10.0;
    static constexpr double kRestBlind_s = 300.0;

    explicit PhaseDetector(const PhaseSettings& settings);

    void imu(std::int64_t t_ns, double axial_mps2, double magnitude_mps2, double lateral_rate_rad_s);
    void height(std::int64_t t_ns, double above_pad_m, double sigma_m);
    void vertical(const VerticalEstimate& estimate);
    /// A sudden jump of pressure that is no motion (the pulse of a charge).
    void pulse(std::int64_t t_ns);
    void tick(std::int64_t t_ns);
    /// The vehicle's computer started anew. In flight that changes nothing; on the ground it is a sign of the next
    /// flight.
    void reboot() noexcept { rebooted_ = phase_ == Phase::landed || phase_ == Phase::presumed_down; }

    [[nodiscard]] Phase phase() const noexcept { return phase_; }
    [[nodiscard]] std::int64_t phase_began_ns() const noexcept { return phase_began_ns_; }
    /// Every moment of this flight so far, in order.
    [[nodiscard]] const std::vector<FoundMoment>& moments() const noexcept { return moments_; }
    /// How many were ever found, also of flights before; the newest of them are at the end of moments().
    [[nodiscard]] std::uint64_t found_count() const noexcept { return found_count_; }
    /// Where the vehicle was when it was last heard of, as said with Moment::contact_lost.
    struct LastSeen {
        double height_m, height_sigma_m;
        double speed_mps, speed_sigma_mps;
        bool near_ground;
    };
    [[nodiscard]] const LastSeen& last_seen() const noexcept { return last_seen_; }
    [[nodiscard]] std::optional<std::int64_t> time_of(Moment moment) const noexcept;
    /// At rest as far as can be seen: the pad reference may follow.
    [[nodiscard]] bool quiet() const noexcept { return phase_ == Phase::on_pad && !thrust_.active; }
    [[nodiscard]] bool on_ground() const noexcept {
        return phase_ == Phase::on_pad || phase_ == Phase::landed || phase_ == Phase::presumed_down;
    }
    [[nodiscard]] Motion motion() const noexcept;
    void reset();

  private:
    struct Force {
        std::int64_t t_ns;
        double axial_mps2;
        double magnitude_mps2;
        double lateral_rate_rad_s;
    };
    struct HeightPoint {
        std::int64_t t_ns;
        double above_pad_m;
        double sigma_m;
    };
    struct SpeedPoint {
        std::int64_t t_ns;
        double speed_mps;
        double sigma_mps;
        double accel_mps2;
        double height_m;
        double height_sigma_m;
    };
    struct Shock {
        std::int64_t t_ns; ///< onset
        std::int64_t t_last_ns;
        double sigma_s; ///< of the onset
    };
    struct Line { ///< through heights, at the newest of them
        double height_m;
        double speed_mps;
        double spread_m; ///< rms of residuals
        int points;
    };
    struct Thrust { ///< a run of axial force above rest that may become a lift-off
        bool active = false;
        std::int64_t t_before_ns = 0; ///< last sample before it
        std::int64_t t_first_ns = 0;
        std::int64_t t_last_ns = 0;
        std::int64_t t_above_ns = 0; ///< last sample above the threshold
        double before_mps2 = 0;      ///< excess of the last sample before it
        double first_mps2 = 0;
        double gained_mps = 0;
        double travelled_m = 0;
        double rate_sum = 0;
        double start_height_m = 0;
        int samples = 0;
        int height_count = 0;
    };
    struct TimeEstimate {
        std::int64_t t_ns;
        double sigma_s;
    };

    void enter(Phase phase, Moment moment, TimeEstimate when);
    void watch_pad(const Force& force);
    void decide_lift_off_inertial();
    void decide_lift_off_heights();
    void decide_lift_off_unseen();
    void watch_withdrawal();
    void watch_burn_out(const Force& force);
    void watch_burn_out_heights();
    void watch_apogee();
    void watch_apogee_heights();
    void watch_apogee_by_weight();
    void begin_descent(TimeEstimate apogee);
    void watch_shock(const Force& force);
    void watch_deployment();
    void watch_main();
    void watch_landing();
    void watch_silence();
    void contact_again();
    void watch_standing(const Force& force);
    void watch_rest_by_heights();
    void ready_again();
    void deploy(Moment moment, TimeEstimate when);

    [[nodiscard]] TimeEstimate thrust_onset() const;
    [[nodiscard]] TimeEstimate climb_onset() const;
    [[nodiscard]] TimeEstimate thrust_end(std::int64_t crossed_ns) const;
    [[nodiscard]] TimeEstimate thrust_end_in_gap(std::int64_t before_ns, std::size_t crossed) const;
    [[nodiscard]] TimeEstimate climb_end() const;
    [[nodiscard]] TimeEstimate charge(const Shock& shock, std::int64_t from_ns) const;
    [[nodiscard]] TimeEstimate main_onset() const;
    [[nodiscard]] TimeEstimate touch_down(double ground_m) const;
    [[nodiscard]] std::optional<TimeEstimate> impact_before_rest() const;
    [[nodiscard]] std::optional<TimeEstimate> fade_between(std::int64_t from_ns, std::int64_t to_ns) const;
    [[nodiscard]] bool hangs() const;
    [[nodiscard]] bool barometer_alive() const noexcept;
    [[nodiscard]] bool barometer_gone() const noexcept;
    [[nodiscard]] bool inertial_alive() const noexcept;
    [[nodiscard]] bool inertial_at_rest(double window_s, double spread_mps2) const;
    [[nodiscard]] std::optional<Line> line_through_heights(std::int64_t from_ns, std::int64_t to_ns) const;
    [[nodiscard]] double mean_rate(std::int64_t from_ns, std::int64_t to_ns) const;
    [[nodiscard]] std::optional<double> mean_height(std::int64_t from_ns, std::int64_t to_ns) const;

    PhaseSettings settings_;
    Phase phase_ = Phase::on_pad;
    std::int64_t phase_began_ns_ = 0;
    std::int64_t t_now_ns_ = 0;
    std::vector<FoundMoment> moments_;
    History<Force> forces_;
    History<HeightPoint> heights_;
    History<SpeedPoint> speeds_;
    Thrust thrust_;
    double rest_axial_mps2_;
    double upright_s_ = 0; ///< how long upright rest has been seen; latched at its maximum
    double leaning_s_ = 0;
    std::int64_t weightless_since_ns_ = 0; ///< 0: feels its weight
    std::int64_t coast_began_ns_ = 0;      ///< candidate burn-out; 0: none
    int coast_samples_ = 0;
    double highest_m_ = 0;
    std::int64_t highest_ns_ = 0;
    int below_highest_ = 0;
    int falling_ = 0; ///< estimates in a row with negative speed
    History<Shock> shocks_;
    double fastest_descent_mps_ = 0; ///< mean speed of the fastest second under the drogue, negative
    int slowed_ = 0;                 ///< heights in a row with a much slower descent than that
    std::uint64_t found_count_ = 0;
    std::int64_t t_input_ns_ = 0; ///< newest sample of any kind
    double ceiling_m_ = 0;        ///< height that the flight has not gone beyond, once it descends
    LastSeen last_seen_{};
    Phase phase_before_silence_ = Phase::on_pad;
    std::int64_t began_before_silence_ns_ = 0;
    bool handled_ = false;             ///< moved by somebody since it landed
    bool rebooted_ = false;            ///< on the ground
    std::int64_t stands_since_ns_ = 0; ///< 0: does not stand
    std::int64_t still_since_ns_ = 0;  ///< by heights; 0: not looked at
    double still_height_m_ = 0;
};

} // namespace turnstone
