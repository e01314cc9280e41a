#include "server/monitor/checks/value_gauges.hpp"

#include <algorithm>
#include <cmath>
#include <deque>
#include <utility>

#include <fmt/format.h>

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr std::int64_t kNoRowYet = std::numeric_limits<std::int64_t>::min();

/// Follows one value and what is subtracted from it.
class ColumnGauge : public Gauge {
  public:
    ColumnGauge(const Check& check, const CheckBinding& binding, const BoundColumns& value)
        : value_(value), from_(binding.from), reference_(check.from_reference ? binding.reference : 0),
          is_sporadic_(binding.period_s == 0) {}

    void begin(std::int64_t t_ns) override {
        since_ns_ = t_ns;
        t_newest_ns_ = kNoRowYet;
        cannot_ = false;
        forget();
    }

    void row(const Row& row) final {
        if (from_ && row.table == from_->table && row.t_ns >= t_other_ns_) {
            const double other = bound_value(*from_, row.numbers);
            if (!std::isnan(other)) {
                other_ = other;
                t_other_ns_ = row.t_ns;
            }
        }
        if (row.table != value_.table || row.t_ns < t_newest_ns_) return; // a straggler
        if (is_sporadic_ && row.t_rx_ns < since_ns_) return;              // about what was before
        const double value = bound_value(value_, row.numbers);
        cannot_ = is_sporadic_ && std::isnan(value);
        if (std::isnan(value) && !is_sporadic_) return;
        t_newest_ns_ = row.t_ns;
        if (!cannot_) follow({row.t_ns, value});
    }

    Reading at(std::int64_t t_ns) final {
        if (t_newest_ns_ == kNoRowYet) return {.why = "no value yet"};
        if (cannot_) return {.t_ns = t_newest_ns_, .why = "the record cannot say", .cannot = true};
        Reading out = figure(t_ns);
        if (!out.known()) return out;
        out.t_ns = t_newest_ns_;
        if (from_) {
            if (t_other_ns_ == kNoRowYet) return {.why = "no value to compare with yet"};
            out.value -= other_;
            out.t_ns = std::min(out.t_ns, t_other_ns_);
        }
        out.value -= reference_;
        return out;
    }

  protected:
    virtual void forget() {}
    virtual void follow(const TimedValue& value) = 0;
    [[nodiscard]] virtual Reading figure(std::int64_t t_ns) = 0;

  private:
    BoundColumns value_;
    std::optional<BoundColumns> from_;
    double reference_;
    bool is_sporadic_;
    std::int64_t since_ns_ = 0;
    std::int64_t t_newest_ns_ = kNoRowYet, t_other_ns_ = kNoRowYet;
    double other_ = kNaN;
    bool cannot_ = false;
};

class NewestGauge final : public ColumnGauge {
  public:
    using ColumnGauge::ColumnGauge;

  private:
    void follow(const TimedValue& value) override { value_ = value.value; }
    Reading figure(std::int64_t) override { return {.value = value_}; }
    double value_ = kNaN;
};

/// Mean, extremes, scatter or trend of the last `over_s`.
class WindowGauge final : public ColumnGauge {
  public:
    WindowGauge(const Check& check, const CheckBinding& binding, const BoundColumns& value)
        : ColumnGauge(check, binding, value), measure_(check.measure), over_ns_(seconds_to_ns(check.over_s)),
          until_(check.until) {}

  private:
    void forget() override { values_.clear(); }
    void follow(const TimedValue& value) override {
        values_.push_back(value);
        if (values_.size() > kValuesKept) values_.pop_front();
        is_new_ = true;
    }
    Reading figure(std::int64_t t_ns) override {
        while (!values_.empty() && values_.front().t_ns < t_ns - over_ns_) {
            values_.pop_front();
            is_new_ = true;
        }
        constexpr std::size_t kLeast = 3; // fewer have no scatter and no trend to speak of
        const double spans_s = values_.empty() ? 0 : seconds_between(values_.front().t_ns, values_.back().t_ns);
        const double over_s = seconds_between(0, over_ns_);
        if (values_.size() < kLeast || spans_s < over_s / 2)
            return {.why = fmt::format("not yet measured for {:.3g} s", over_s)};
        if (std::exchange(is_new_, false)) figure_ = compute();
        return {.value = figure_};
    }

    [[nodiscard]] double mean() const {
        double sum = 0;
        for (const TimedValue& each : values_) sum += each.value;
        return sum / static_cast<double>(values_.size());
    }
    [[nodiscard]] double compute() const {
        const auto [least, greatest] = std::ranges::minmax_element(values_, {}, &TimedValue::value);
        switch (measure_) {
        case Measure::greatest: return greatest->value;
        case Measure::least: return least->value;
        case Measure::spread: return greatest->value - least->value;
        case Measure::noise: return noise();
        case Measure::left: return left_s();
        default: return mean();
        }
    }
    [[nodiscard]] double noise() const {
        const double of = mean();
        double squares = 0;
        for (const TimedValue& each : values_) squares += (each.value - of) * (each.value - of);
        return std::sqrt(squares / static_cast<double>(values_.size() - 1));
    }
    /// Along the line of least squares.
    [[nodiscard]] double left_s() const {
        constexpr double kMost_s = 360'000; // what does not fall lasts for as long as anybody asks
        const std::int64_t t_zero_ns = values_.back().t_ns;
        double t_mean = 0;
        for (const TimedValue& each : values_) t_mean += seconds_between(t_zero_ns, each.t_ns);
        t_mean /= static_cast<double>(values_.size());
        const double v_mean = mean();
        double tt = 0, tv = 0;
        for (const TimedValue& each : values_) {
            const double t = seconds_between(t_zero_ns, each.t_ns) - t_mean;
            tt += t * t;
            tv += t * (each.value - v_mean);
        }
        const double slope = tt > 0 ? tv / tt : 0;
        const double above = v_mean - slope * t_mean - until_;
        if (above <= 0) return 0;
        return slope < 0 ? std::min(kMost_s, above / -slope) : kMost_s;
    }

    Measure measure_;
    std::int64_t over_ns_;
    double until_;
    std::deque<TimedValue> values_;
    bool is_new_ = false;
    double figure_ = kNaN;
};

/// How long a value has not changed, and how far it went against its way.
class CourseGauge final : public ColumnGauge {
  public:
    CourseGauge(const Check& check, const CheckBinding& binding, const BoundColumns& value)
        : ColumnGauge(check, binding, value), measure_(check.measure) {}
    void go_on_from(double value) override {
        if (measure_ != Measure::stuck) worst_ = std::max(worst_, value);
    }

  private:
    void forget() override {
        count_ = 0;
        worst_ = 0;
    }
    void follow(const TimedValue& value) override {
        if (count_++ == 0) {
            extreme_ = value.value;
            changed_ = value;
        }
        if (value.value != changed_.value) changed_ = value;
        t_ns_ = value.t_ns;
        const double against = measure_ == Measure::drop ? extreme_ - value.value : value.value - extreme_;
        worst_ = std::max(worst_, against);
        extreme_ = measure_ == Measure::drop ? std::max(extreme_, value.value) : std::min(extreme_, value.value);
    }
    Reading figure(std::int64_t) override {
        if (count_ < 2) return {.why = "one value so far"};
        return {.value = measure_ == Measure::stuck ? seconds_between(changed_.t_ns, t_ns_) : worst_};
    }

    Measure measure_;
    std::size_t count_ = 0;
    double extreme_ = 0, worst_ = 0;
    TimedValue changed_{0, 0};
    std::int64_t t_ns_ = 0;
};

/// The longest silence since the beginning. One that begins again in a silence counts all of it, unless the sender was
/// off: silent for longer than kWasOn_s, it may be switched on at leisure.
class GapGauge final : public Gauge {
  public:
    explicit GapGauge(const BoundColumns& value) : table_(value.table) {}
    void begin(std::int64_t t_ns) override {
        since_ns_ = t_ns;
        t_newest_ns_ = t_heard_ns_ = kNoRowYet;
        longest_s_ = 0;
    }
    void begin_again(std::int64_t t_ns) override {
        constexpr double kWasOn_s = 10;
        if (t_heard_ns_ == kNoRowYet || seconds_between(t_heard_ns_, t_ns) > kWasOn_s) begin(t_ns);
        longest_s_ = 0;
    }
    void row(const Row& row) override {
        if (row.table != table_ || row.t_rx_ns < since_ns_) return;
        t_heard_ns_ = std::max(t_heard_ns_, row.t_rx_ns);
        if (row.t_ns < t_newest_ns_) return; // it came late, and the gap that it left was there
        if (t_newest_ns_ != kNoRowYet) longest_s_ = std::max(longest_s_, seconds_between(t_newest_ns_, row.t_ns));
        t_newest_ns_ = row.t_ns;
    }
    void go_on_from(double value) override { longest_s_ = std::max(longest_s_, value); }
    Reading at(std::int64_t t_ns) override {
        if (t_newest_ns_ == kNoRowYet) return {.why = "no row yet"};
        return {.value = std::max(longest_s_, seconds_between(t_heard_ns_, t_ns)), .t_ns = t_ns};
    }

  private:
    TableId table_;
    std::int64_t since_ns_ = 0, t_newest_ns_ = kNoRowYet, t_heard_ns_ = kNoRowYet;
    double longest_s_ = 0;
};

class TextGauge final : public Gauge {
  public:
    TextGauge(const BoundColumns& value, std::string text) : value_(value), text_(std::move(text)) {}
    void begin(std::int64_t) override { t_ns_ = kNoRowYet; }
    void row(const Row& row) override {
        if (row.table != value_.table || row.t_ns < t_ns_ || row.texts.size() <= value_.places.front()) return;
        t_ns_ = row.t_ns;
        says_ = row.texts[value_.places.front()];
    }
    Reading at(std::int64_t) override {
        if (t_ns_ == kNoRowYet) return {.why = "no text yet"};
        return {.value = says_ == text_ ? 1.0 : 0.0, .t_ns = t_ns_, .why = "says \"" + says_ + "\""};
    }

  private:
    BoundColumns value_;
    std::string text_, says_;
    std::int64_t t_ns_ = kNoRowYet;
};

} // namespace

double bound_value(const BoundColumns& columns, std::span<const double> numbers) noexcept {
    if (columns.places.size() == 1) return numbers[columns.places.front()];
    double squares = 0;
    for (const std::size_t place : columns.places) squares += numbers[place] * numbers[place];
    return std::sqrt(squares);
}

std::unique_ptr<Gauge> make_value_gauge(const Check& check, const CheckBinding& binding, const BoundColumns& value) {
    switch (check.measure) {
    case Measure::newest: return std::make_unique<NewestGauge>(check, binding, value);
    case Measure::stuck:
    case Measure::drop:
    case Measure::climb: return std::make_unique<CourseGauge>(check, binding, value);
    default: return std::make_unique<WindowGauge>(check, binding, value);
    }
}

std::unique_ptr<Gauge> make_gap_gauge(const BoundColumns& value) {
    return std::make_unique<GapGauge>(value);
}

std::unique_ptr<Gauge> make_text_gauge(const BoundColumns& value, std::string text) {
    return std::make_unique<TextGauge>(value, std::move(text));
}

} // namespace turnstone
