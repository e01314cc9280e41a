#pragma once
/// Tells a failed sensor from a working one by its values alone.
///
/// at its range: at the end of its range, so that the truth is beyond it; two samples in a row, for longer than a
///         shock. They are usable, as bounds, and do not count as frozen. Where the range ends is as told, or earlier
///         where its largest reading repeats itself: sensors, their settings and what carries their readings clip
///         below what a file says now and then. Nothing pushes for kPushed_s, so that then it is frozen.
/// out of range: outside limits that no working sensor leaves, three samples in a row.
/// frozen: exactly the same value again and again although the sensor has shown before that it never repeats itself for
///         that long; kFrozenCount samples and kFrozen_s at least.
/// silent: nothing for kSilent_s, or four of its periods, while other sensors of the same vehicle are heard: a fade in
///         which nothing comes counts for kHeard_s, or one of its periods. NaN samples count as nothing. A sensor that
///         comes back (kBackCount good samples in a row) is good again.
#include <algorithm>
#include <cmath>
#include <cstdint>

#include "shared/time.hpp"

namespace turnstone::estimate {

enum class SensorState : unsigned char { unheard, good, at_range, out_of_range, frozen, silent };

class SensorWatch {
  public:
    static constexpr int kFrozenCount = 25;
    static constexpr double kSilent_s = 2.5;
    static constexpr double kHeard_s = 1.0;
    static constexpr int kOutOfRangeCount = 3;
    static constexpr int kBackCount = 5;
    static constexpr double kAtRange = 0.98; ///< of the range
    static constexpr int kAtRangeCount = 2;
    static constexpr double kAtRange_s = 0.05; ///< longer than a shock
    static constexpr int kClipCount = 5;
    static constexpr double kClipLeast = 0.3; ///< of the range
    static constexpr double kPushed_s = 30.0;

    /// `frozen_s`: how long a value must repeat. `range`: where it clips, plus and minus.
    SensorWatch(double lowest, double highest, double frozen_s, double range = 1e300)
        : lowest_(lowest), highest_(highest), frozen_s_(frozen_s), range_(range), clips_(kAtRange * range) {}

    /// True when this sample may be used.
    bool sample(std::int64_t t_ns, double value) {
        if (!std::isfinite(value)) return false;
        bool clipped = std::fabs(value) >= clips_;
        const bool repeats = heard_ && value == value_ && !clipped;
        if (!heard_) t_run_ns_ = t_ns;
        if (heard_ && t_ns > t_ns_) {
            const double since_s = seconds_between(t_ns_, t_ns);
            period_s_ = period_s_ == 0.0 ? since_s : std::min(since_s, 1.02 * period_s_);
        }
        if (repeats)
            ++run_;
        else {
            // Longest usual run, forgotten slowly: a coarse sensor at rest repeats itself and is not frozen.
            if (state_ == SensorState::good && !clipped)
                usual_run_ = std::max(static_cast<double>(run_), 0.99 * usual_run_);
            run_ = 1;
            t_run_ns_ = t_ns;
            ++changes_;
        }
        if (shows_its_end(value)) {
            clips_ = range_ = std::fabs(value);
            clipped = true;
            run_ = 1;
        }
        greatest_ = std::max(greatest_, std::fabs(value));
        value_ = value;
        t_ns_ = t_others_ns_ = t_ns;
        alone_s_ = 0.0;
        heard_ = true;
        const bool outside = value < lowest_ || value > highest_;
        outside_ = outside ? outside_ + 1 : 0;
        clipped_ = clipped && !outside ? clipped_ + 1 : 0;
        if (clipped_ == 1) t_clipped_ns_ = t_ns;
        const bool pushed = clipped_ == 0 || seconds_between(t_clipped_ns_, t_ns) < kPushed_s;
        const bool frozen = run_ >= kFrozenCount && seconds_between(t_run_ns_, t_ns) >= frozen_s_ && changes_ >= 20 &&
                            static_cast<double>(run_) > 6.0 * usual_run_;
        if (outside_ >= kOutOfRangeCount)
            set(SensorState::out_of_range);
        else if (frozen || !pushed)
            set(SensorState::frozen);
        else if (clipped_ >= kAtRangeCount && seconds_between(t_clipped_ns_, t_ns) >= kAtRange_s)
            set(SensorState::at_range);
        else if (state_ == SensorState::good || state_ == SensorState::unheard ||
                 (state_ == SensorState::at_range && clipped_ == 0) || is_back(!outside && !repeats))
            set(SensorState::good);
        return (state_ == SensorState::good || state_ == SensorState::at_range) && !outside;
    }

    /// `t_others_ns`: when another sensor of the vehicle was last heard.
    void tick(std::int64_t t_others_ns) {
        if (!heard_ || t_others_ns <= t_others_ns_) return;
        alone_s_ += std::min(seconds_between(t_others_ns_, t_others_ns), std::max(kHeard_s, period_s_));
        t_others_ns_ = t_others_ns;
        if (alone_s_ > std::max(kSilent_s, 4.0 * period_s_)) set(SensorState::silent);
    }
    /// Where it clips, plus and minus, as far as is known.
    [[nodiscard]] double range() const noexcept { return range_; }
    [[nodiscard]] SensorState state() const noexcept { return state_; }
    [[nodiscard]] std::int64_t last_ns() const noexcept { return t_ns_; }
    /// Since when the present state holds, by the samples.
    [[nodiscard]] std::int64_t since_ns() const noexcept { return since_ns_; }

  private:
    /// No run of one value as long as this was usual, and none was larger.
    [[nodiscard]] bool shows_its_end(double value) const {
        return run_ >= kClipCount && changes_ >= 20 && static_cast<double>(run_) > 3.0 * usual_run_ &&
               std::fabs(value) >= std::max(greatest_, kClipLeast * range_) && std::fabs(value) < clips_;
    }
    /// Whether a sensor that went wrong has given enough good samples in a row.
    bool is_back(bool good) {
        back_ = good ? back_ + 1 : 0;
        return back_ >= kBackCount;
    }
    void set(SensorState state) {
        if (state == state_) return;
        since_ns_ = state == SensorState::frozen ? t_run_ns_ : state == SensorState::at_range ? t_clipped_ns_ : t_ns_;
        state_ = state;
        back_ = 0;
    }

    double lowest_, highest_, frozen_s_, range_, clips_;
    double greatest_ = 0.0; ///< reading so far, without its sign
    double period_s_ = 0.0; ///< 0: not known
    int clipped_ = 0;
    std::int64_t t_clipped_ns_ = 0;
    SensorState state_ = SensorState::unheard;
    bool heard_ = false;
    double value_ = 0.0;
    std::int64_t t_ns_ = 0;
    std::int64_t t_others_ns_ = 0; ///< until then counted in
    double alone_s_ = 0.0;         ///< of others, since its last sample
    std::int64_t t_run_ns_ = 0;
    std::int64_t since_ns_ = 0;
    int run_ = 0;
    int changes_ = 0;
    int outside_ = 0;
    int back_ = 0;
    double usual_run_ = 1.0;
};

} // namespace turnstone::estimate
