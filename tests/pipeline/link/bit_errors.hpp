#pragma once
/// A channel without memory.
#include <cstddef>
#include <random>
#include <vector>

namespace turnstone::test {

/// Each bit is wrong with the same probability, whatever the others are.
inline std::vector<std::byte> with_errors(std::vector<std::byte> bytes, double bit_error, std::mt19937_64& random) {
    std::geometric_distribution<std::size_t> gap(bit_error);
    for (std::size_t bit = gap(random); bit < 8 * bytes.size(); bit += 1 + gap(random))
        bytes[bit / 8] ^= static_cast<std::byte>(1U << bit % 8);
    return bytes;
}

} // namespace turnstone::test
