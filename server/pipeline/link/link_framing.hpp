#pragma once
/// How a link's bytes are cut into frames, read from its URI, which stands in the recording.
#include <string>

#include "protocol/framing/framing.hpp"

namespace turnstone {

/// The framing of a link whose URI server/setup has let through; the default one where it says what this version does
/// not know.
[[nodiscard]] Framing link_framing(const std::string& uri);

} // namespace turnstone
