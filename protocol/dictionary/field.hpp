#pragma once
/// Reads one field of dictionary.json. Inner part of read_dictionary().
#include <optional>
#include <string>
#include <vector>

#include "protocol/dictionary/dictionary.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

/// What a field needs to know of its surroundings.
struct FieldDefaults {
    ByteOrder byte_order;
    std::string group;
};

struct FieldReading {
    Field field;
    std::optional<std::uint32_t> bit_offset; ///< as given; absent: after the field before
    std::optional<ByteOrder> byte_order;     ///< as given; absent: the dictionary's
    bool sized = false;                      ///< type and count were understood: the field can be laid out
};

[[nodiscard]] FieldReading read_field(JsonReader& reader, const FieldDefaults& defaults,
                                      std::vector<Problem>& problems);

/// Reports a name that is not [a-z][a-z0-9_]* (with `hyphen`: - as well), too long, a word of C or C++, or one that the
/// recording keeps for itself.
std::string read_name(JsonReader& reader, std::string_view key, bool hyphen = false);

/// Reads "byte_order".
std::optional<ByteOrder> read_byte_order(JsonReader& reader);

} // namespace turnstone
