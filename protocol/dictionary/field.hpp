#pragma once
/// Reads one field of dictionary.json. Inner part of read_dictionary().
#include <optional>
#include <string>
#include <vector>

#include "protocol/dictionary/scope.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

/// What a field needs to know of its surroundings.
struct FieldDefaults {
    ByteOrder byte_order;
    bool is_lsb_first;
    std::string group;
};

struct FieldReading {
    Field field;
    Extent count;                            ///< elements; the field's own when it is a number
    std::optional<std::uint32_t> bit_offset; ///< as given; absent: after the field before
    std::optional<ByteOrder> byte_order;     ///< as given; absent: the dictionary's
    std::string part_of;                     ///< the field to which its bits belong as well; empty: none
    bool is_packet_time = false;
    bool is_sized = false; ///< type and count were understood: the field can be laid out
};

[[nodiscard]] FieldReading read_field(JsonReader& reader, const FieldDefaults& defaults, Scope& scope,
                                      std::vector<Problem>& problems);

/// Reads "byte_order".
std::optional<ByteOrder> read_byte_order(JsonReader& reader);
/// Reads "bit_order"; true: least significant first.
bool read_bit_order(JsonReader& reader, bool otherwise);

} // namespace turnstone
