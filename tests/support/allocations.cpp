// In a file of its own, so that no call to new is inlined beside the free() that answers it.
#include "tests/support/allocations.hpp"

#include <cstdlib>
#include <new>

namespace turnstone::test {
thread_local std::atomic<long>* allocation_counter = nullptr;
} // namespace turnstone::test

void* operator new(std::size_t size, const std::nothrow_t&) noexcept {
    if (auto* counter = turnstone::test::allocation_counter) counter->fetch_add(1, std::memory_order_relaxed);
    return std::malloc(size == 0 ? 1 : size);
}
void* operator new(std::size_t size) {
    if (void* const memory = operator new(size, std::nothrow)) return memory;
    throw std::bad_alloc();
}
void operator delete(void* memory) noexcept {
    std::free(memory);
}
void operator delete(void* memory, std::size_t) noexcept {
    std::free(memory);
}
