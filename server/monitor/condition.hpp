#pragma once
#include <optional>
#include <string>

#include "server/estimate/event.hpp"

namespace turnstone {

struct AlertRule;

/// What a watch finds at a tick. A condition that it does not mention does not hold. Whether an alert follows, and
/// when, is for the alert book to say.
struct Condition {
    EventId id;
    std::string about = {}; ///< as EstimateEvent::about
    bool holds = true;
    EventValues values = {}; ///< how far, for the event
    // What stands elsewhere for every condition with this id, unless it is said here.
    std::optional<Level> level = {}; ///< server/pipeline/events.cpp
    std::string advice = {};         ///< the same
    const AlertRule* rule = nullptr; ///< alert_rules.cpp; must outlive the book
};

} // namespace turnstone
