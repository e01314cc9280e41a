#include "server/serve/random_key.hpp"

#include <array>
#include <span>
#include <stdexcept>

#include <unistd.h>

#include <fmt/format.h>
#include <openssl/evp.h>

namespace turnstone {
namespace {

std::string hexadecimal(std::span<const unsigned char> bytes) {
    std::string out;
    for (const unsigned char byte : bytes) out += fmt::format("{:02x}", byte);
    return out;
}

} // namespace

std::string random_key() {
    std::array<unsigned char, 16> bytes{};
    if (getentropy(bytes.data(), bytes.size()) != 0)
        throw std::runtime_error("cannot get random numbers from the system (getentropy failed)");
    return hexadecimal(bytes);
}

std::string hashed_key(std::string_view key) {
    std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
    unsigned size = 0;
    if (EVP_Digest(key.data(), key.size(), digest.data(), &size, EVP_sha256(), nullptr) != 1)
        throw std::runtime_error("cannot hash a key (EVP_Digest failed)");
    return hexadecimal(std::span(digest).first(size));
}

} // namespace turnstone
