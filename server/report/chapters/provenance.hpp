#pragma once
/// What a report rests on: the recording with its hash, the programs and files that made it, and what is missing from
/// it.
#include <string>
#include <vector>

#include "server/record/by_name/recorded.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

/// `sha256`: of the bytes received; empty: not to be had.
[[nodiscard]] Markup provenance_chapter(const Recorded& recorded, const std::string& sha256);

/// Lines for names by hand, with what each stands for.
[[nodiscard]] Markup signatures(const std::vector<std::string>& roles);

} // namespace turnstone::report
