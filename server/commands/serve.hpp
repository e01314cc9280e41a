#pragma once
/// Builds and joins the parts of a running server, and takes them apart again in an order that keeps every
/// byte:
///
///   1. links close and the ingest thread hands over what is left     (no new data)
///   2. the recorder commits everything it was given                  (data safe)
///   3. viewers are closed, readers of the live file let go
///   4. the recorder closes the recording into one file
///
/// A second signal, or kShutdownDeadline, ends the process at once: after step 2 nothing can be lost by that,
/// and before it no more than a killed process loses.
#include <chrono>

#include "server/setup/serve_setup.hpp"
#include "server/setup/settings.hpp"

namespace turnstone {

inline constexpr std::chrono::seconds kShutdownDeadline{15};

/// Serves until SIGINT, SIGTERM or SIGHUP. Prints the addresses and the operator key to standard output.
/// Returns the process's exit code.
[[nodiscard]] int run_server(const Settings& settings, ServeSetup setup);

} // namespace turnstone
