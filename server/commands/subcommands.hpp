#pragma once
/// Every subcommand, each in the file of its name.
#include <span>

#include "server/commands/subcommand.hpp"
#include "server/serve/assets.hpp"

namespace turnstone {

/// `assets` is the dashboard; it must outlive the run.
[[nodiscard]] Subcommand serve_subcommand(std::span<const Asset> assets);
[[nodiscard]] Subcommand check_subcommand();
[[nodiscard]] Subcommand firmware_subcommand();
[[nodiscard]] Subcommand verify_subcommand();
[[nodiscard]] Subcommand reprocess_subcommand();

} // namespace turnstone
