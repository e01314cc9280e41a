#include "server/pipeline/batch.hpp"

#include <cstring>

namespace turnstone {

void Batch::clear() noexcept {
    chunks.clear();
    bytes.clear();
    actions.clear();
    frames.clear();
    rows.clear();
    numbers.clear();
    texts.clear();
    events.clear();
}

bool operator==(const Batch& a, const Batch& b) noexcept {
    const bool numbers_equal =
        a.numbers.size() == b.numbers.size() &&
        (a.numbers.empty() || std::memcmp(a.numbers.data(), b.numbers.data(), a.numbers.size() * sizeof(double)) == 0);
    return numbers_equal && a.chunks == b.chunks && a.bytes == b.bytes && a.actions == b.actions &&
           a.frames == b.frames && a.rows == b.rows && a.texts == b.texts && a.events == b.events;
}

} // namespace turnstone
