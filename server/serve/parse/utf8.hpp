#pragma once
/// Whether bytes are UTF-8, RFC 3629 section 4: no overlong forms, no surrogates, nothing above U+10FFFF.
#include <string_view>

namespace turnstone {

[[nodiscard]] bool is_utf8(std::string_view bytes) noexcept;

} // namespace turnstone
