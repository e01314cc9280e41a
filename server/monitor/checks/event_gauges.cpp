#include "server/monitor/checks/event_gauges.hpp"

#include <algorithm>
#include <cmath>
#include <deque>
#include <optional>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "server/monitor/checks/pulse_shape.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// Events are found up to this long after they happened: estimators look back, and bursts come later than the radio's
/// ordinary packets.
constexpr double kFoundWithin_s = 15;

std::string name_of(const EventRef& ref) {
    std::string name(word(ref.event));
    std::ranges::replace(name, '_', ' ');
    return ref.about.empty() ? name : name + " " + ref.about;
}

class CountGauge final : public Gauge {
  public:
    CountGauge(const EventRef& event, int vehicle) : event_(event), vehicle_(vehicle) {}
    void begin(std::int64_t t_ns) override {
        since_ns_ = t_ns;
        count_ = 0;
    }
    void event(const Event& event) override {
        if (event.t_found_ns >= since_ns_ && is_meant(event_, event, vehicle_)) ++count_;
    }
    void go_on_from(double value) override { count_ += value; }
    Reading at(std::int64_t t_ns) override { return {.value = count_, .t_ns = t_ns}; }

  private:
    EventRef event_;
    int vehicle_;
    std::int64_t since_ns_ = 0;
    double count_ = 0;
};

/// A figure of the newest event, or the seconds from the newest "after" to the first event that may follow it.
class EventGauge final : public Gauge {
  public:
    EventGauge(const Check& check, int vehicle)
        : event_(*check.event), after_(check.after), vehicle_(vehicle),
          earliest_s_(std::min(0.0, check.least.value_or(0))), latest_s_(check.most.value_or(0)),
          has_latest_(check.most.has_value()) {}

    void begin(std::int64_t t_ns) override {
        since_ns_ = t_ns;
        after_ns_.reset();
        seen_.clear();
    }
    void event(const Event& event) override {
        if (event.t_found_ns < since_ns_) return;
        if (after_ && is_meant(*after_, event, vehicle_)) after_ns_ = event.t_ns;
        if (!is_meant(event_, event, vehicle_)) return;
        constexpr std::size_t kEventsKept = 256;
        if (seen_.size() == kEventsKept) seen_.erase(seen_.begin());
        seen_.push_back({event.t_ns, figure_of(event)});
    }
    Reading at(std::int64_t t_ns) override {
        if (after_ && !after_ns_) return {.why = "no " + name_of(*after_) + " yet"};
        const Seen* found = after_ ? first_after() : seen_.empty() ? nullptr : &seen_.back();
        if (found == nullptr) {
            Reading out{.why = "no " + name_of(event_) + " yet"};
            out.missed = after_ && has_latest_ && seconds_between(*after_ns_, t_ns) > latest_s_ + kFoundWithin_s;
            if (out.missed) out.why = "no " + name_of(event_) + " after " + name_of(*after_);
            return out;
        }
        if (event_.figure.empty()) return {.value = seconds_between(*after_ns_, found->t_ns), .t_ns = found->t_ns};
        if (std::isnan(found->figure))
            return {.t_ns = found->t_ns, .why = "the event has no " + event_.figure, .cannot = true};
        return {.value = found->figure, .t_ns = found->t_ns};
    }

  private:
    struct Seen {
        std::int64_t t_ns;
        double figure;
    };
    [[nodiscard]] double figure_of(const Event& event) const {
        for (const EventValue& value : event.values)
            if (value.name == event_.figure && std::holds_alternative<double>(value.value))
                return std::get<double>(value.value);
        return kNaN;
    }
    [[nodiscard]] const Seen* first_after() const {
        const Seen* first = nullptr;
        for (const Seen& each : seen_)
            if (seconds_between(*after_ns_, each.t_ns) >= earliest_s_ && (first == nullptr || each.t_ns < first->t_ns))
                first = &each;
        return first;
    }

    EventRef event_;
    std::optional<EventRef> after_;
    int vehicle_;
    double earliest_s_, latest_s_;
    bool has_latest_;
    std::int64_t since_ns_ = 0;
    std::optional<std::int64_t> after_ns_;
    std::vector<Seen> seen_;
};

/// Keeps as much of a column as an event that is found late may need.
class PulseGauge final : public Gauge {
  public:
    PulseGauge(const Check& check, const BoundColumns& value, int vehicle)
        : value_(value), after_(*check.after), vehicle_(vehicle), measure_(check.measure),
          baseline_s_(check.baseline_s), within_s_(check.within_s), tolerance_(check.tolerance) {}

    void begin(std::int64_t t_ns) override {
        since_ns_ = t_ns;
        event_ns_.reset();
        shape_.reset();
    }
    void row(const Row& row) override {
        if (row.table != value_.table) return;
        const double value = bound_value(value_, row.numbers);
        if (std::isnan(value)) return;
        // Samples of a burst come with times before those of the ordinary packets.
        const auto place = std::ranges::upper_bound(values_, row.t_ns, {}, &TimedValue::t_ns);
        values_.insert(place, {row.t_ns, value});
        const std::int64_t keep_ns = seconds_to_ns(baseline_s_ + within_s_ + kFoundWithin_s);
        while (values_.size() > kValuesKept || (!event_ns_ && values_.front().t_ns < values_.back().t_ns - keep_ns))
            values_.pop_front();
        if (shape_ && measure_ != Measure::change && row.t_ns <= *event_ns_ + seconds_to_ns(within_s_)) shape_.reset();
        newest_ = values_.back().value;
    }
    void event(const Event& event) override {
        if (event.t_found_ns < since_ns_ || !is_meant(after_, event, vehicle_)) return;
        event_ns_ = event.t_ns;
        shape_.reset();
    }
    Reading at(std::int64_t t_ns) override {
        if (!event_ns_) return {.why = "no " + name_of(after_) + " yet"};
        const std::int64_t end_ns = *event_ns_ + seconds_to_ns(within_s_);
        if (measure_ != Measure::change && (values_.empty() || values_.back().t_ns < end_ns) &&
            seconds_between(end_ns, t_ns) < kFoundWithin_s)
            return {.why = fmt::format("{:.1f} s after it are not over", within_s_)};
        if (!shape_) {
            const std::vector<TimedValue> values(values_.begin(), values_.end());
            shape_ = shape_of_pulse(values, *event_ns_, baseline_s_, within_s_, tolerance_);
        }
        const bool is_enough = measure_ == Measure::change ? !std::isnan(shape_->before) : shape_->why_not.empty();
        if (!is_enough) return {.t_ns = *event_ns_, .why = shape_->why_not, .cannot = true};
        return {.value = figure(*shape_), .t_ns = measure_ == Measure::change ? values_.back().t_ns : *event_ns_};
    }

  private:
    [[nodiscard]] double figure(const PulseShape& shape) const {
        switch (measure_) {
        case Measure::change: return newest_ - shape.before;
        case Measure::rise: return shape.rise_s;
        case Measure::duration: return shape.duration_s;
        case Measure::impulse: return shape.impulse;
        case Measure::back: return shape.back_s;
        default: return shape.peak;
        }
    }

    BoundColumns value_;
    EventRef after_;
    int vehicle_;
    Measure measure_;
    double baseline_s_, within_s_, tolerance_;
    std::int64_t since_ns_ = 0;
    std::optional<std::int64_t> event_ns_;
    std::deque<TimedValue> values_; ///< in the order of time
    double newest_ = kNaN;
    std::optional<PulseShape> shape_; ///< once it was computed
};

} // namespace

std::unique_ptr<Gauge> make_count_gauge(const Check& check, int vehicle) {
    return std::make_unique<CountGauge>(*check.event, vehicle);
}

std::unique_ptr<Gauge> make_event_gauge(const Check& check, int vehicle) {
    return std::make_unique<EventGauge>(check, vehicle);
}

std::unique_ptr<Gauge> make_pulse_gauge(const Check& check, const BoundColumns& value, int vehicle) {
    return std::make_unique<PulseGauge>(check, value, vehicle);
}

} // namespace turnstone
