#include "server/ingest/backlog_watch.hpp"

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kRaise_s = 0.5, kClear_s = 0.1;
constexpr double kRaiseAfter_s = 1.0, kClearAfter_s = 5.0;

} // namespace

std::optional<Backlog> BacklogWatch::look(double behind_s, std::int64_t now_ns) {
    const bool changing = behind_ ? behind_s < kClear_s : behind_s > kRaise_s;
    if (!changing) {
        changing_since_ns_.reset();
        return std::nullopt;
    }
    if (!changing_since_ns_) changing_since_ns_ = now_ns;
    if (seconds_between(*changing_since_ns_, now_ns) < (behind_ ? kClearAfter_s : kRaiseAfter_s)) return std::nullopt;
    behind_ = !behind_;
    changing_since_ns_.reset();
    return Backlog{behind_ ? behind_s : 0.0};
}

} // namespace turnstone
