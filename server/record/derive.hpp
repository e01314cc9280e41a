#pragma once
/// What a recording holds besides its inputs, made where it is missing.
#include <filesystem>
#include <functional>
#include <string>

#include "server/pipeline/station/pipeline.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/repair.hpp"
#include "shared/result.hpp"

namespace turnstone {

/// Brings a fresh pipeline to where the recording's first `inputs` inputs end. What is stored already is passed over,
/// without the predictions in it; what follows goes to `on_batch`, bit for bit as if the pipeline had never stopped.
/// Returns what is wrong with the stored times; empty: nothing. `on_input`: gets each input before the pipeline does.
std::string catch_up(RecordingReader& reader, std::uint64_t inputs, Pipeline& pipeline,
                     const std::function<void(const Inputs&)>& on_input,
                     const std::function<void(const Batch&)>& on_batch);

/// Folds in the write-ahead file, makes what a kill or a slow disk left unmade, and closes the recording as one file.
/// Safe to be killed at any point, and to run again. A recording that this version cannot process is closed as it is.
[[nodiscard]] Result<RepairOutcome> finish_recording(const std::filesystem::path& path);

} // namespace turnstone
