#pragma once
/// How long the disk lasts at the rate at which the live recording grows.
#include <cstdint>
#include <optional>

#include "server/record/write/recorder_status.hpp"

namespace turnstone {

class DiskWatch {
  public:
    /// Call it often. Hours left, once the recording has grown for ten seconds and then once a minute.
    [[nodiscard]] std::optional<double> look(const RecorderStatus& status, std::int64_t t_ns);

  private:
    std::string recording_id_;
    std::int64_t t_begin_ns_ = 0;
    std::uint64_t bytes_begin_ = 0;
    std::int64_t t_next_ns_ = 0;
};

} // namespace turnstone
