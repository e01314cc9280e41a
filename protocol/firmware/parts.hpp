#pragma once
/// Pieces of the generated header. Inner part of generate_firmware_header().
#include <string>
#include <string_view>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone::firmware {

/// The functions every generated header carries (checksum, stuffing, bit packing), with names that begin with `prefix`.
[[nodiscard]] std::string support_functions(const std::string& prefix);

/// Writes primary header and time: depends on the dictionary's time code.
[[nodiscard]] std::string begin_function(const std::string& prefix, const TimeCode& time);

/// The function that encodes one packet.
[[nodiscard]] std::string encode_function(const std::string& prefix, const TimeCode& time, const Packet& packet);

/// Parameters for the on-board time, e.g. "uint32_t time_ms", or with `types` false only their names.
[[nodiscard]] std::string time_parameters(const TimeCode& time, bool types);

/// ASCII upper case, everything but letters and digits made "_".
[[nodiscard]] std::string upper(std::string_view name);

} // namespace turnstone::firmware
