#pragma once
/// Random keys: the operator's, those of sessions, the server's own.
#include <string>

namespace turnstone {

/// 128 random bits as 32 hexadecimal digits, from the system's generator.
[[nodiscard]] std::string random_key();

} // namespace turnstone
