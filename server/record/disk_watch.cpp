#include "server/record/disk_watch.hpp"

#include <algorithm>

#include "shared/time.hpp"

namespace turnstone {

std::optional<double> DiskWatch::look(const RecorderStatus& status, std::int64_t t_ns) {
    constexpr std::int64_t kFirstNs = 10 * kNsPerS, kEveryNs = 60 * kNsPerS;
    constexpr double kMost_h = 10'000;     // a recording that hardly grows
    constexpr double kReserve_bytes = 1e8; // of the disk: SQLite and the system need some
    if (!status.recording) return std::nullopt;
    if (status.recording_id != recording_id_) {
        recording_id_ = status.recording_id;
        t_begin_ns_ = t_ns;
        bytes_begin_ = status.file_bytes;
        t_next_ns_ = t_ns + kFirstNs;
    }
    if (t_ns < t_next_ns_) return std::nullopt;
    t_next_ns_ = t_ns + kEveryNs;
    const double grown = static_cast<double>(status.file_bytes) - static_cast<double>(bytes_begin_);
    const double rate = std::max(0.0, grown) / seconds_between(t_begin_ns_, t_ns);
    const double left = std::max(0.0, static_cast<double>(status.disk_free_bytes) - kReserve_bytes);
    if (left == 0) return 0; // nothing grows on a full disk
    return rate > 0 ? std::min(kMost_h, left / rate / 3600) : kMost_h;
}

} // namespace turnstone
