#pragma once
/// Vertical motion from a vertical accelerometer, heights from pressure, and heights and vertical speeds of fixes, in
/// one dimension, up positive, heights above the pad. The state is vertical_model.hpp's.
///
/// Process. While accelerometer samples arrive, the accelerometer is an input: a sample is the mean over the interval
/// that ends at its time, and sets a = z - b - s f over that interval. That is the limit of a measurement of `a` with
/// no prior knowledge of the motion, so neither thrust nor a parachute needs a model; with f = 0 it is the filter
/// "accelerometer as input with bias" of tests/reference/kalman_steady.json. In a gap of the accelerometer, and always
/// in descent or without one, `a` is a Singer process around a mean that the kind of motion gives. The first sample
/// after a gap is an ordinary measurement of a + b + s f, so that what changed in the gap is divided between a and v.
/// A clipped sample says only that `a` is beyond it: a Singer process around a mean beyond the bound.
///
/// Rest and flight. While the vehicle is thought to stand, two models run side by side (math/two_models.hpp): rest,
/// where speed is zero and an accelerometer shows its bias, and flight as above, with a small rate of leaving rest. The
/// first odd height therefore opens the stated sigma, and a motion that nobody announced is followed.
///
/// Heights are measurements of h + k S - c q - d v0 (S the day's own 1-sigma at that height, q the height that one
/// dynamic pressure is worth, v0 the speed it was made at), white, each with its own 1-sigma. S must not come from the
/// measured height: the gain would follow its noise, and the speed be off one way. A height whose normalised innovation
/// squared exceeds the gate is left out (ejection pulses, port transients); where no accelerometer carries the speed,
/// those of the next tenths of a second are worth as much less as they may be the tail of the same pulse. If every
/// height is left out for kRecoveryInertial_s (kRecoveryHeightOnly_s without accelerometer), at least kRecoveryHeights
/// of them, and they lie on one parabola, it is the filter that is wrong: h, v and their covariance restart from that
/// parabola, and the sensors' errors are kept. Heights that do not fit one are never taken, nor are heights while fixes
/// agree with the filter, nor heights that do not move while an accelerometer in use says that the vehicle flies (a
/// stuck barometer).
///
/// Fixes are measurements of h + g + o and of v, as they were a delay ago. Their share that lasts is the state g, so
/// that many fixes are not better than one; the rest is white. A fix far from the prediction weighs as much less as it
/// is too far (a Student likelihood's tail), and in the first second after a loss of fixes all of them weigh little:
/// receivers come back with errors of tens of metres.
///
/// Order and gaps: a height newer than the newest accelerometer sample waits for the next one, kHeightWait_s or one and
/// a half sample periods at most, since packets of different sensors overtake each other. Where samples come many in a
/// packet, heights and fixes wait for the packet: what is shown meanwhile has them in. A height older than the
/// state is related to it by the state's own motion, up to kHeightLate_s. Accelerometer samples that are older than the
/// newest one or than the state, or repeat its time, are dropped. NaN is not a measurement. After kStaleReset_s without
/// any input everything but the sensors' errors restarts with the next height or fix. What is predicted beyond the
/// newest input is shown and forgotten: measurements that come late find the state of their time. Nothing is predicted
/// of a vehicle at rest, which may just have left, nor below the ground, or below where the vehicle was measured, if
/// that was lower. At rest a fix that does not tell its time speaks of no later time than it has surely reached.
///
/// Health: NIS of heights, averaged over 50, with its chi-square bounds. In flight heights are alike in what they are
/// off by, the day's air and the ports: they count five times a second, as a fraction of a degree of freedom each.
/// Those left out count once they have been left out for kPulse_s: a charge's pulse in the bay says nothing of the
/// filter.
#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "server/estimate/math/history.hpp"
#include "server/estimate/math/nis_monitor.hpp"
#include "server/estimate/math/two_models.hpp"
#include "server/estimate/smoothing/forward_pass.hpp"
#include "server/estimate/vertical/vertical_model.hpp"

namespace turnstone::estimate {

/// What kind of motion the phase detector sees. Decides how unmeasured acceleration is modelled.
enum class Motion : unsigned char {
    rest,
    boost,
    coast,
    descent,
    moving ///< not at rest, by its fixes, and no flight that the phases know
};

struct VerticalSettings {
    double accel_bias_mps2 = 0.3; ///< 1-sigma at the start
    double accel_bias_walk_mps2_rts = 1e-3;
    double launch_mps2 = 110.0; ///< the most that its motor gives it, upwards
    double port_sigma = 0.02;   ///< of c at the start; ports of small vehicles read low or high by 1 to 2 %
    double port_walk_rts = 0.001;
    double delay_s = 0.015;      ///< of the bay's air behind the vents', and of the sensor: mean and 1-sigma of
    double delay_sigma_s = 0.03; ///< what small vehicles and sensors with a low-pass filter show
    double fix_correlation_s = 80.0;
    double fix_correlated_share = 0.9; ///< of a fix height's variance
    double fix_delay_s = 0.1, fix_delay_sigma_s = 0.08;
    double pad_datum_sigma_m = 30.0;
    double gate_nis = 15.136705226623606; ///< chi-square, 1 degree of freedom, 0.9999
    bool rest_updates = true;             ///< a model of rest beside that of flight
};

/// What is known of s. The axis alone: a flight leans by 8 degrees (1 %) or so, and leans further as it climbs.
struct AxisFraction {
    double mean = 0.01;
    double sigma = 0.015;
    double walk_rts = 0.006;
    friend bool operator==(const AxisFraction&, const AxisFraction&) = default;
};

struct VerticalEstimate {
    std::int64_t t_ns = 0;
    bool valid = false;    ///< false until the first height or fix
    bool inertial = false; ///< the accelerometer is in use
    double altitude_m = 0, altitude_sigma_m = 0;
    double vertical_speed_mps = 0, vertical_speed_sigma_mps = 0;
    double acceleration_mps2 = 0, acceleration_sigma_mps2 = 0;
    double accel_bias_mps2 = 0, accel_bias_sigma_mps2 = 0;
    double axis_fraction = 0, axis_fraction_sigma = 0;
    double port_coefficient = 0, port_coefficient_sigma = 0;
    double delay_s = 0, delay_sigma_s = 0;
    double fix_offset_m = 0, fix_offset_sigma_m = 0; ///< of the fixes' heights from those above the pad: g + o
    double rest_probability = 0;
    double nis = 0;      ///< of the newest height; NaN before any
    double nis_mean = 0; ///< over the last 50
    Health health = Health::not_enough_data;
};

/// Height and vertical speed of a fix, in the pad's frame.
struct VerticalFix {
    std::int64_t t_ns;       ///< of the packet
    std::int64_t t_valid_ns; ///< 0: not told
    double height_m, height_sigma_m;
    double speed_mps, speed_sigma_mps; ///< NaN: none
    double scatter = 1;                ///< of the height's new part: variance against that told
};

/// What a height owes to the air that flows past the ports, as far as it is known when the height comes.
struct PortFlow {
    double m_per_m2ps2 = 0;  ///< by how much a port coefficient of 1 lowers it: half density over weight density
    double across_m2ps2 = 0; ///< square of the air speed beside the vertical one
    double up_mps = 0;       ///< where samples come many in a packet, the state knows better when it takes the height
};

/// What was done with a height.
enum class HeightVerdict : unsigned char { used, gated, too_old };

struct HeightResult {
    std::int64_t t_ns;
    double innovation_m;
    double nis;
    HeightVerdict verdict;
    bool restarted; ///< the filter restarted from the heights
    bool stuck;     ///< heights do not move for long while the accelerometer shows a climb
};

class VerticalFilter {
  public:
    static constexpr double kHeightWait_s = 0.15;
    static constexpr double kHeightLate_s = 0.5;
    static constexpr double kRecoveryInertial_s = 1.5;
    static constexpr double kRecoveryHeightOnly_s = 1.0;
    static constexpr std::size_t kRecoveryHeights = 6;
    static constexpr double kCoastThrough_s = 3.0; ///< predicted that long without any input
    static constexpr double kStaleReset_s = 30.0;
    static constexpr double kPulse_s = 1.0;
    static constexpr double kPulseTail_s = 0.1;

    explicit VerticalFilter(const VerticalSettings& settings);

    /// Takes effect at the state's time. Going from rest to boost without accelerometer opens the covariance.
    void set_motion(Motion motion);
    [[nodiscard]] Motion motion() const noexcept { return motion_; }

    /// Vertical coordinate acceleration (gravity removed) with its white 1-sigma, and the force it comes from, which
    /// `fraction` is a fraction of; 0 when the fraction does not apply. `bias_share`: how much of the bias acts
    /// upwards.
    void accelerometer(std::int64_t t_ns, double accel_up_mps2, double sigma_mps2, double force_mps2 = 0.0,
                       const AxisFraction& fraction = {}, double bias_share = 1.0);
    /// A clipped sample: upwards acceleration is at least this, by about `excess_mps2` more.
    void clipped(std::int64_t t_ns, double at_least_mps2, double excess_mps2);
    /// Beside the sensor's own: until the next call.
    void set_bias_walk(double walk_mps2_rts) noexcept { bias_walk_mps2_rts_ = walk_mps2_rts; }
    /// In descent without attitude: how strongly the vehicle is shaken bounds how fast its acceleration changes.
    void set_descent_agitation(double sigma_mps2);
    /// A shock in descent, a parachute's or the ground's: speed may have changed by so much.
    void jolt(double speed_mps);
    /// `day_m`: the day's own 1-sigma at this height.
    void height(std::int64_t t_ns, double altitude_m, double sigma_m, const PortFlow& flow = {}, double day_m = 0.0);
    void fix(const VerticalFix& fix);
    /// Takes in what has waited long enough, and shows a state as of about `t_ns` where no accelerometer does.
    void advance(std::int64_t t_ns);

    /// The newest that is known or, between advance() and the next input, predicted.
    [[nodiscard]] VerticalEstimate estimate() const { return ahead_ ? *ahead_ : known(); }
    /// Results since the last call, oldest first; cleared by it.
    [[nodiscard]] std::vector<HeightResult> take_results();
    /// Forgets everything but the settings.
    void reset();
    /// Starts at a known state: h and v independent of all else, the sensors' errors kept.
    void start(std::int64_t t_ns, double altitude_m, double altitude_sigma_m, double speed_mps, double speed_sigma_mps);
    /// It stands on the pad, and where heights begin has just been found: what they said before is void.
    void start_on_rail(std::int64_t t_ns, double altitude_sigma_m);
    /// From here on leaves its steps in flight in `pass`, which must outlive it; null: no longer. At rest, where two
    /// models run, there are none.
    void leave_steps(ForwardPass<kVerticalStates>* pass) noexcept { forward_ = pass; }
    /// How far heights above the pad may be wrong altogether, since the pad's own pressure is.
    void set_reference_sigma(double sigma_m) noexcept { reference_sigma_m_ = sigma_m; }
    [[nodiscard]] double reference_sigma_m() const noexcept { return reference_sigma_m_; }

  private:
    struct Height {
        std::int64_t t_ns;
        double altitude_m, sigma_m;
        PortFlow flow;
        double day_m;
    };
    /// How far propagation alone has moved the state, without corrections: what lies between a fix's time and now.
    struct Travelled {
        std::int64_t t_ns;
        double height_m, speed_mps;
        double jolts_m2ps2; ///< variance of speed that shocks have added
    };
    struct RestWindow {
        std::int64_t began_ns = 0;
        double sum_mps2 = 0, variance_sum = 0;
        int count = 0;
        double rejected_s = 0; ///< without a break
    };
    enum Model : std::size_t { kRest, kFlight };
    static constexpr double kOneCycle_s = 0.1;
    static constexpr std::size_t kWaitingFixes = 64;

    [[nodiscard]] bool two_models() const noexcept { return settings_.rest_updates && motion_ == Motion::rest; }
    [[nodiscard]] VerticalKalman& flight() noexcept { return pair_.model[kFlight]; }
    [[nodiscard]] const VerticalKalman& flight() const noexcept { return pair_.model[kFlight]; }
    /// What the steps of the model of flight carry along; null: nothing is kept.
    [[nodiscard]] VerticalMatrix* carried() noexcept { return forward_ == nullptr ? nullptr : &forward_->transition(); }
    void keep_step(const VerticalKalman& predicted);
    [[nodiscard]] VerticalEstimate known() const;
    [[nodiscard]] VerticalKalman stated() const;
    [[nodiscard]] std::array<double, 2> probability_now() const;
    [[nodiscard]] SingerProcess singer() const noexcept;
    [[nodiscard]] SingerProcess leaving() const noexcept;
    [[nodiscard]] double wait_s() const noexcept;
    /// Accelerometer samples come later than packets of different sensors overtake each other: many in a packet.
    [[nodiscard]] bool in_batches() const noexcept { return accel_late_s_ > kHeightWait_s; }
    /// The next sample of the accelerometer is not overdue.
    [[nodiscard]] bool samples_follow(std::int64_t t_ns) const noexcept;
    /// The accelerometer is in use: they follow, or its next packet is not overdue.
    [[nodiscard]] bool inertial_at(std::int64_t t_ns) const noexcept;
    [[nodiscard]] std::int64_t newest_waiting_ns() const noexcept;
    void look_ahead(std::int64_t to_ns);
    void take_fix(const VerticalFix& fix);
    void take_waiting_fixes(std::int64_t up_to_t_ns);
    [[nodiscard]] bool fixes_agree() const noexcept;
    void each_model(const auto& step);
    void travel(std::int64_t t_ns, double before_h, double before_v);
    void propagate_to(std::int64_t t_ns);
    void propagate_by_sample(std::int64_t t_ns);
    void predict(double left_s, const SingerProcess& process);
    void pass_gap(std::int64_t t_ns, const SingerProcess& process);
    [[nodiscard]] SingerProcess unmeasured(std::int64_t t_ns) const noexcept;
    void walk_errors(double dt_s);
    void mix_models();
    [[nodiscard]] bool look_for_rest(double accel_up_mps2, double variance);
    void apply_height(const Height& height);
    void take_scalar(const VerticalRow& rest_row, double rest_measured, const VerticalRow& flight_row,
                     double flight_measured, double variance, double more_in_flight = 0.0);
    [[nodiscard]] double tail_of_pulse_m(std::int64_t t_ns) const noexcept;
    [[nodiscard]] double port_by_speed_m2(double m_per_mps) const noexcept;
    [[nodiscard]] bool recover(const Height& height, bool& stuck);
    [[nodiscard]] bool as_stuck(double altitude_m, double sigma_m) const noexcept;
    void take_waiting(std::int64_t up_to_t_ns, const auto& reach);
    void start_from(const Height& height);
    void relate_to_day(double day_m);
    [[nodiscard]] Travelled travelled_since(std::int64_t t_ns) const;

    VerticalSettings settings_;
    TwoModels<kVerticalStates> pair_; ///< flight alone except at rest
    AxisFraction fraction_;
    std::int64_t t_ns_ = 0;
    std::int64_t t_accel_ns_ = 0;  ///< newest sample
    std::int64_t t_height_ns_ = 0; ///< newest height, used or not
    std::int64_t t_height_used_ns_ = 0;
    std::int64_t t_mixed_ns_ = 0;
    std::int64_t t_by_fix_ns_ = 0; ///< at which the state is by a fix that does not tell its time
    double accel_period_s_ = 0.0;  ///< 0: not known yet
    double accel_late_s_ = 0.0;    ///< how much later than the newest of all times its samples come
    std::int64_t t_heard_of_ns_ = 0;
    double height_period_s_ = 0.0;
    double bias_walk_mps2_rts_ = 0.0;
    double agitation_mps2_ = 10.0;
    double reference_sigma_m_ = 0.0;
    double day_at_m_ = 0.0; ///< height at which k was last moved on
    bool started_ = false;
    bool have_accel_ = false;
    bool gap_since_sample_ = true;
    Motion motion_ = Motion::rest;
    RestWindow rest_window_;
    History<Travelled> travelled_{256};
    std::int64_t t_fix_ns_ = 0;
    std::int64_t t_fixes_since_ns_ = 0; ///< since when they come without a gap
    std::int64_t t_fix_agreed_ns_ = 0;
    int fixes_far_ = 0; ///< in a row
    std::array<Height, 64> waiting_{};
    std::size_t waiting_count_ = 0;
    std::vector<VerticalFix> waiting_fixes_;
    std::array<Height, 64> rejected_{};
    std::size_t rejected_count_ = 0;
    double pulse_m_ = 0.0; ///< how far the last height left out was off
    std::int64_t t_pulse_ns_ = 0;
    bool stuck_ = false;
    double stuck_height_m_ = 0.0;
    NisMonitor monitor_;
    std::int64_t t_judged_ns_ = 0; ///< the last height that counted for it
    std::vector<HeightResult> results_;
    std::optional<VerticalEstimate> ahead_; ///< predicted beyond the newest input
    ForwardPass<kVerticalStates>* forward_ = nullptr;
    std::int64_t t_step_kept_ns_ = 0;
};

} // namespace turnstone::estimate
