#pragma once
/// Reads and lays out a list of fields and groups. Inner part of read_dictionary().
#include <map>
#include <string>
#include <vector>

#include "protocol/dictionary/field.hpp"
#include "protocol/dictionary/names.hpp"
#include "protocol/dictionary/scope.hpp"

namespace turnstone {

struct RolePlace {
    std::string pointer;
    const Packet* packet;
    unsigned channels = 1; ///< that have it
};

/// What all layouts of a dictionary share.
struct Surroundings {
    ByteOrder byte_order = ByteOrder::big;
    bool is_lsb_first = false;
    Uniques firmware_names;
    std::map<Role, RolePlace> role_places; ///< a role may come again in another layout of the same APID
    const Packet* packet = nullptr;        ///< that is being read
    std::vector<Problem>* problems = nullptr;
};

/// Where a list of fields stands.
struct LayoutPlace {
    std::string name;  ///< of the packet or of packet and group, "_" between them: before names in firmware
    std::string group; ///< display group of fields that do not say otherwise
    Uniques* channels; ///< of the table
    bool is_in_group = false;
    bool is_on_byte = true;              ///< it begins on a byte boundary
    const Field** packet_time = nullptr; ///< receives the field that is the packet's time; null: none can be
};

/// `batch` (null: none) is a group of samples at the end, each padded to whole bytes.
void read_layout(std::vector<JsonReader> readers, JsonReader* batch, const LayoutPlace& place, Scope& outer,
                 Surroundings& around, Layout& layout);

} // namespace turnstone
