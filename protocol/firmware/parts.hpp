#pragma once
/// Pieces of the generated header. Inner part of generate_firmware_header().
#include <string>
#include <string_view>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone::firmware {

/// The text of support.h.
extern const std::string_view kSupportText;

/// Writes primary header and time: one for each way in which the packets give their time.
[[nodiscard]] std::string begin_functions(const std::string& prefix, const Dictionary& dictionary);

/// The function that encodes one packet.
[[nodiscard]] std::string encode_function(const std::string& prefix, const Packet& packet);

/// The batch at the packet's end; null: it has none.
[[nodiscard]] const Group* batch_of(const Packet& packet);

/// ASCII upper case; everything but letters and digits becomes "_".
[[nodiscard]] std::string upper(std::string_view name);

} // namespace turnstone::firmware
