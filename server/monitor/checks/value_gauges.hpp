#pragma once
/// Gauges of columns: the newest value, figures of a window, what happened since the beginning, gaps between rows,
/// texts.
#include <memory>

#include "server/monitor/checks/gauge.hpp"
#include "server/pipeline/checklist/binding.hpp"

namespace turnstone {

/// Of a check about a value, which is not about an event; `value`: one of binding.value.
[[nodiscard]] std::unique_ptr<Gauge> make_value_gauge(const Check& check, const CheckBinding& binding,
                                                      const BoundColumns& value);
/// Longest time between rows, the silence since the last counted.
[[nodiscard]] std::unique_ptr<Gauge> make_gap_gauge(const BoundColumns& value);
/// 1 while the newest text is `text`, else 0.
[[nodiscard]] std::unique_ptr<Gauge> make_text_gauge(const BoundColumns& value, std::string text);

/// The value of bound columns in a row: of several, the length of their vector. NaN where one is.
[[nodiscard]] double bound_value(const BoundColumns& columns, std::span<const double> numbers) noexcept;

/// Values of the newest time; at most as many as an inertial sensor gives in five minutes, the oldest go first.
struct TimedValue {
    std::int64_t t_ns;
    double value;
};
inline constexpr std::size_t kValuesKept = 65'536;

} // namespace turnstone
