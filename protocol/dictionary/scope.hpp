#pragma once
/// The integers of a packet that others refer to by name: how many, which layout, which calibration. Inner part of
/// read_dictionary().
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "protocol/dictionary/dictionary.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

/// A field of the primary header (CCSDS 133.0-B-2, 4.1.3) by its name there; empty: there is none of that name.
[[nodiscard]] std::optional<PlacedInteger> primary_header_field(std::string_view name);

[[nodiscard]] bool is_integer(FieldType type) noexcept;

/// What a field may refer to: integers before it, in the layouts around it and in the primary header.
class Scope {
  public:
    explicit Scope(Packet& packet) : packet_(&packet) {}
    Scope(Scope& outer, std::vector<Field>& fields) : packet_(outer.packet_), outer_(&outer), fields_(&fields) {}

    /// Slot of the integer; reports at reader/key what is wrong with the name.
    Slot slot_of(JsonReader& reader, std::string_view key, const std::string& name);

  private:
    [[nodiscard]] Field* find(const std::string& name) const;
    std::optional<Slot> next_slot(JsonReader& reader, std::string_view key);
    [[nodiscard]] Scope& root() { return outer_ == nullptr ? *this : outer_->root(); }

    Packet* packet_;
    Scope* outer_ = nullptr;
    std::vector<Field>* fields_ = nullptr;
    Slot slots_used_ = 0;                                 ///< of the root
    std::vector<std::pair<std::string, Slot>> of_header_; ///< of the root
};

/// Whole numbers and ranges of them, as keys and values of the dictionary spell them: "3", "-4..7".
[[nodiscard]] std::optional<RawRange> parse_raw_range(std::string_view text);
/// A whole number, a text "4..7", or an array of these.
[[nodiscard]] std::vector<RawRange> read_raw_ranges(JsonReader& reader);

/// Reads how many: a number from `least` to `most`, {"field": ...}, or one of `words`.
[[nodiscard]] Extent read_extent(JsonReader& reader, std::string_view key, std::int64_t least, std::int64_t most,
                                 Scope& scope, bool may_end_with_terminator);

} // namespace turnstone
