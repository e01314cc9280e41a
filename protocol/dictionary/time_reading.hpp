#pragma once
/// Reads a time code of dictionary.json. Inner part of read_dictionary().
#include "protocol/packet/time_code.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

[[nodiscard]] TimeCode read_time_code(JsonReader& time);

} // namespace turnstone
