#pragma once
/// Every subcommand, each in the file of its name.
#include <span>
#include <vector>

#include "server/commands/subcommand.hpp"
#include "server/serve/assets.hpp"

namespace turnstone {

/// `assets` is the dashboard; it must outlive the subcommand.
[[nodiscard]] Subcommand serve_subcommand(std::span<const Asset> assets);
[[nodiscard]] Subcommand check_subcommand();
[[nodiscard]] Subcommand firmware_subcommand();
[[nodiscard]] Subcommand xtce_subcommand();
[[nodiscard]] Subcommand evaluate_subcommand();
[[nodiscard]] Subcommand verify_subcommand();
[[nodiscard]] Subcommand reprocess_subcommand();
[[nodiscard]] Subcommand report_subcommand();
[[nodiscard]] Subcommand import_subcommand();
[[nodiscard]] Subcommand export_subcommand();
[[nodiscard]] Subcommand mass_subcommand();
[[nodiscard]] Subcommand version_subcommand();

/// In the order of the program's help.
[[nodiscard]] std::vector<Subcommand> all_subcommands(std::span<const Asset> assets);

} // namespace turnstone
