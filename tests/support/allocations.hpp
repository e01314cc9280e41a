#pragma once
/// Counts what the global operator new is asked for on chosen threads, in programs that link test_allocations.
#include <atomic>

namespace turnstone::test {

/// Counts on this thread while it is set.
extern thread_local std::atomic<long>* allocation_counter;

} // namespace turnstone::test
