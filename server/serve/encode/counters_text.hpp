#pragma once
/// The server's counters for monitoring, in OpenMetrics 1.0 text format.
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "server/record/write/recorder.hpp"
#include "server/serve/budgets.hpp"
#include "server/serve/counters.hpp"
#include "server/serve/live_tape.hpp"

namespace turnstone {

inline constexpr std::string_view kCountersType = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// `reads_waiting`: reads of recordings that wait for a thread.
[[nodiscard]] std::string counters_text(const ServeCounters& serve, const Budgets& budgets, std::size_t reads_waiting,
                                        const RecorderStatus& recorder, const std::vector<LinkView>& links);

} // namespace turnstone
