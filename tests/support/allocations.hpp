#pragma once
/// Counts what the global operator new is asked for on chosen threads.
#include <atomic>

namespace turnstone {

/// Counts on this thread while it is set.
extern thread_local std::atomic<long>* allocation_counter;

} // namespace turnstone
