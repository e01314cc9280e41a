#pragma once
/// The pseudo-randomizer of CCSDS 131.0-B, section 10 (h(x) = x^8 + x^7 + x^5 + x^3 + 1, begun with all ones): an
/// exclusive or with a sequence of 255 bits, begun again behind each sync marker. It is its own inverse.
#include <cstddef>
#include <span>

namespace turnstone {

void randomize(std::span<std::byte> block) noexcept;

} // namespace turnstone
