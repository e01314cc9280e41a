#pragma once
/// Random keys: the operator's, those of sessions, the server's own.
#include <string>
#include <string_view>

namespace turnstone {

/// 128 random bits as 32 hexadecimal digits, from the system's generator.
[[nodiscard]] std::string random_key();

/// What can be kept to know a key again, and does not tell it: SHA-256 (FIPS 180-4), as hexadecimal digits. A key that
/// people chose can be guessed from it.
[[nodiscard]] std::string hashed_key(std::string_view key);

} // namespace turnstone
