#pragma once
/// A recording and an on-board log, made into one recording. The log is a link of its own: its chunks carry the log's
/// octets, each received at the moment its packets were made, before the radio's copies of them. The pipeline does what
/// it does with any two links: the first copy of a packet counts, the others are duplicates, and every row says by its
/// frame which link it came from. Nothing of the two inputs is left out or changed.
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "server/debrief/advance.hpp"
#include "server/exchange/import/differences.hpp"
#include "server/exchange/import/log/log_index.hpp"
#include "server/exchange/import/log/log_times.hpp"
#include "server/pipeline/setup.hpp"
#include "server/record/read/reader.hpp"
#include "shared/result.hpp"

namespace turnstone::exchange {

struct MergePlan {
    const PipelineSetup& setup; ///< the recording's, with the log's link as its last
    const std::filesystem::path& log_file;
    const LogIndex& log;
    const LogTimes& times;
    const std::vector<Gap>& gaps; ///< each becomes a note
    std::string name, notes;
    std::map<std::string, std::string> facts; ///< further keys of meta
};

/// Writes it into the folder under a new id, and returns its path. A stop or a failure leaves nothing.
[[nodiscard]] Result<std::filesystem::path> write_merged(RecordingReader& recording, const MergePlan& plan,
                                                         const std::filesystem::path& folder,
                                                         const debrief::Advance& advance);

} // namespace turnstone::exchange
