#pragma once
/// Firings of the same charge before this one, in the recordings of the same folder: of flights those of flights, a
/// late one after touchdown among them, of tests on the ground those of tests.
#include <filesystem>
#include <vector>

#include "server/report/ground/charge.hpp"

namespace turnstone::report {

/// The newest first, at most a dozen. `path`: of the recording itself.
[[nodiscard]] std::vector<EarlierFiring> earlier_firings(const Recorded& recorded, const Firing& firing,
                                                         const std::filesystem::path& path);

} // namespace turnstone::report
