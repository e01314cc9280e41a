#include "server/commands/subcommands.hpp"

namespace turnstone {

std::vector<Subcommand> all_subcommands(std::span<const Asset> assets) {
    return {serve_subcommand(assets), check_subcommand(),  firmware_subcommand(),  xtce_subcommand(),
            evaluate_subcommand(),    verify_subcommand(), reprocess_subcommand(), report_subcommand(),
            import_subcommand(),      export_subcommand(), mass_subcommand(),      version_subcommand()};
}

} // namespace turnstone
