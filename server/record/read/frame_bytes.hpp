#pragma once
/// The bytes of frames, cut out of the recorded chunks.
#include <cstddef>
#include <map>
#include <vector>

#include "server/pipeline/batch.hpp"
#include "server/record/format/id_search.hpp"
#include "server/record/format/sqlite.hpp"

namespace turnstone {

/// A frame that noise or a silent delimiter made too long may be gigabytes.
inline constexpr std::size_t kFrameBytesGiven = 1024;

/// For frames in the order of their ids. A frame begins where its link's frame before it ended, and in the chunk
/// that was received with that end.
class FrameBytes {
  public:
    explicit FrameBytes(Database& database);
    /// At most the first kFrameBytesGiven.
    [[nodiscard]] std::vector<std::byte> of(std::int64_t id, const FrameRecord& frame);

  private:
    [[nodiscard]] std::int64_t first_input(std::int64_t id, const FrameRecord& frame);

    std::int64_t base_ns_;
    IdSearch search_;
    Statement frame_before_, chunks_;
    std::map<LinkId, std::int64_t> inputs_; ///< of the chunk in which each link's last frame ended
};

} // namespace turnstone
