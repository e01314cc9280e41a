#include "server/serve/random_key.hpp"

#include <array>
#include <stdexcept>

#include <unistd.h>

#include <fmt/format.h>

namespace turnstone {

std::string random_key() {
    std::array<unsigned char, 16> bytes{};
    if (getentropy(bytes.data(), bytes.size()) != 0)
        throw std::runtime_error("cannot get random numbers from the system (getentropy failed)");
    std::string out;
    for (const unsigned char byte : bytes) out += fmt::format("{:02x}", byte);
    return out;
}

} // namespace turnstone
