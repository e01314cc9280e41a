#pragma once
/// Manual pages, made from the tables of subcommands and settings: roff as man(7) describes it.
#include <span>
#include <string>

#include "server/commands/subcommand.hpp"

namespace turnstone {

/// turnstone(1).
[[nodiscard]] std::string program_manual(std::span<const Subcommand> subcommands);
/// turnstone.json(5).
[[nodiscard]] std::string settings_manual();

} // namespace turnstone
