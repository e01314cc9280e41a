#pragma once
/// Checks whether a recording is what this version makes of its bytes.
#include <algorithm>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "server/pipeline/station/pipeline.hpp"
#include "shared/result.hpp"

namespace turnstone {

struct VerifyReport {
    std::uint64_t chunks = 0, actions = 0;          ///< fed
    std::uint64_t frames = 0, rows = 0, events = 0; ///< compared
    std::uint64_t differences = 0;
    std::string first_difference; ///< empty when there is none
    /// "NAME: why", for what this version makes differently from the version that recorded. Not counted as differences.
    std::vector<std::string> not_compared;
};

/// Predictions cost ten times everything else together. Of that many rounds in a recording, one in so many is flown
/// again: every twentieth, and of a day's some four hundred in all.
[[nodiscard]] constexpr std::uint64_t verified_one_in(std::uint64_t rounds) noexcept {
    return std::max<std::uint64_t>(20, rounds / 400);
}

/// Feeds the stored inputs through the pipeline and compares every frame, row and event with what is stored: what was
/// received bit for bit, an estimate to the step it is rounded to (server/record/format/column_code.hpp). NaN is stored
/// as NULL and -0 as 0: those compare equal. Tables are compared by name where both have the same columns; events only
/// where the recording has this version's layout, since older ones word them differently. Of the predictions
/// one round in verified_one_in() is flown again; what else rests on them (sentences, when a parachute is due, where an
/// impact is expected) is not compared. Each of `vehicles` replaces the recording's vehicle of the same name. An error
/// means that the comparison could not be made. `on_progress` hears the fraction of the inputs that are done, from 0 to
/// 1, after each of them.
[[nodiscard]] Result<VerifyReport> verify_recording(const std::filesystem::path& file,
                                                    std::vector<VehicleSetup> vehicles = {},
                                                    const std::function<void(double)>& on_progress = {});

} // namespace turnstone
