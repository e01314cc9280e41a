#pragma once
/// What a check measures, followed row by row and event by event. A gauge knows nothing of limits.
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "server/estimate/event.hpp"
#include "shared/constants.hpp"

namespace turnstone {

/// What a gauge shows at a moment.
struct Reading {
    double value = kNaN;   ///< NaN: none
    std::int64_t t_ns = 0; ///< of the newest thing behind it
    /// Without a value: what it waits for; with one: what a person should know besides. The same for as long as that is
    /// the reason: without figures that run.
    std::string why = {};
    bool cannot = false; ///< there will be no value: the record cannot say
    bool missed = false; ///< there is no value, and that is the failure: an event did not come, a test failed
    [[nodiscard]] bool known() const noexcept { return value == value; }
};

/// What a gauge measures from, taken at a moment; without values, when it last had one.
struct Baseline {
    std::int64_t t_ns = 0; ///< of what was said then
    std::vector<double> values = {};
};

class Gauge {
  public:
    virtual ~Gauge() = default;
    Gauge() = default;
    Gauge(const Gauge&) = delete;
    Gauge& operator=(const Gauge&) = delete;

    /// Forgets what it followed: what counts begins at `t_ns`.
    virtual void begin(std::int64_t t_ns) = 0;
    /// The same for one that followed until now.
    virtual void begin_again(std::int64_t t_ns) { begin(t_ns); }
    /// A row of the table that it was made for.
    struct Row {
        std::uint16_t table;
        std::int64_t t_ns, t_rx_ns;
        std::span<const double> numbers;
        std::span<const std::string> texts;
    };
    virtual void row(const Row&) {}
    /// Any event.
    virtual void event(const Event&) {}
    /// Of the recording before: counts on from `value`.
    virtual void go_on_from(double) {}
    virtual void measure_from(const Baseline&) {}
    /// For the next recording.
    [[nodiscard]] virtual std::optional<Baseline> baseline() const { return {}; }
    [[nodiscard]] virtual Reading at(std::int64_t t_ns) = 0;
};

} // namespace turnstone
