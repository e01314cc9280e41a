#pragma once
/// The C99 header for flight firmware, from the same dictionary that the ground decodes with.
///
/// Per packet the header has a struct of raw values and a function that writes the complete frame of LINK.md (space
/// packet, CRC, COBS, delimiter) into the caller's buffer. It needs <stddef.h>, <stdint.h> and memcpy/memset, no heap
/// and no floating-point library, does not depend on the processor's byte order or word width, and may be included in
/// several translation units and from C++.
#include <string>
#include <vector>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {

/// Why the header cannot be made: each packet whose encoder it cannot hold, and what is in the way. Empty: it can be.
[[nodiscard]] std::vector<std::string> firmware_obstacles(const Dictionary& dictionary);

/// `dictionary` has been read without problems and has no obstacles.
[[nodiscard]] std::string generate_firmware_header(const Dictionary& dictionary);

} // namespace turnstone
