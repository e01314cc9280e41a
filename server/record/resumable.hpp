#pragma once
/// A recording that a server which did not stop properly has left, and that may go on.
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "server/pipeline/setup.hpp"
#include "server/record/write/recording_claim.hpp"
#include "server/record/write/recording_file.hpp"

namespace turnstone {

struct Resumable {
    std::string id;
    RecordingHead head;
    std::uint64_t inputs;                    ///< stored
    std::int64_t t_last_ns;                  ///< of the last input
    std::vector<std::uint64_t> stream_bytes; ///< received from each link
    std::shared_ptr<RecordingClaim> claim;
};

/// The newest recording of the directory that was not closed and that nobody writes, made by this version with the same
/// vehicles, site and links, its last input less than ten minutes old.
[[nodiscard]] std::optional<Resumable> find_resumable(const std::filesystem::path& directory,
                                                      const PipelineSetup& setup, std::int64_t utc_now_ns);

} // namespace turnstone
