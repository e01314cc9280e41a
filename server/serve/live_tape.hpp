#pragma once
/// The live tape and the links that feed it, as the server gets them.
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "server/pipeline/events.hpp"
#include "server/pipeline/series.hpp"
#include "server/pipeline/setup.hpp"
#include "shared/link_state.hpp"

namespace turnstone {

struct LiveTape {
    std::string id;
    std::string name;
    std::int64_t t_start_ns = 0;
    std::int64_t utc_start_ns = 0;
    std::shared_ptr<const Schema> schema; ///< what the published batches' rows refer to
    std::shared_ptr<const PipelineSetup> setup;
    /// The newest row of each table, by its id, when the tape goes on after a stop; else empty.
    std::vector<std::optional<std::pair<std::int64_t, std::vector<double>>>> newest = {};
    std::vector<Event> past = {}; ///< events before that stop
};

/// A link as `status` and the counters show it.
struct LinkView {
    std::string name;
    LinkState state = LinkState::opening;
    std::string detail; ///< why, for a person; empty when nothing is wrong
    std::uint64_t bytes = 0;
    std::int64_t t_last_ns = 0; ///< station time of the newest byte; 0: none yet
};

} // namespace turnstone
