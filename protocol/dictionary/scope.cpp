#include "protocol/dictionary/scope.hpp"

#include <algorithm>
#include <array>
#include <charconv>

#include <nlohmann/json.hpp>

namespace turnstone {
namespace {

constexpr Slot kSlotsMax = 256;
constexpr std::size_t kRangesMax = 256;
constexpr std::int64_t kFactorMax = 65'536;

struct HeaderField {
    std::string_view name;
    PlacedInteger at;
};
constexpr auto kHeaderFields = std::to_array<HeaderField>({
    {"packet_version_number", {.bit = 0, .bit_width = 3}},
    {"packet_type", {.bit = 3, .bit_width = 1}},
    {"secondary_header_flag", {.bit = 4, .bit_width = 1}},
    {"sequence_flags", {.bit = 16, .bit_width = 2}},
    {"sequence_count", {.bit = 18, .bit_width = 14}},
    {"packet_data_length", {.bit = 32, .bit_width = 16}},
});

std::optional<std::int64_t> parse_whole(std::string_view text) {
    std::int64_t value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || end != text.data() + text.size() || std::to_string(value) != text) return std::nullopt;
    return value;
}

} // namespace

std::optional<PlacedInteger> primary_header_field(std::string_view name) {
    for (const HeaderField& field : kHeaderFields)
        if (field.name == name) return field.at;
    return std::nullopt;
}

bool is_integer(FieldType type) noexcept {
    return type == FieldType::unsigned_integer || type == FieldType::signed_integer;
}

Field* Scope::find(const std::string& name) const {
    if (fields_ != nullptr)
        for (Field& field : *fields_)
            if (field.name == name) return &field;
    return outer_ == nullptr ? nullptr : outer_->find(name);
}

std::optional<Slot> Scope::next_slot(JsonReader& reader, std::string_view key) {
    Scope& top = root();
    if (top.slots_used_ < kSlotsMax) return top.slots_used_++;
    reader.problem_at(key, "is one reference too many",
                      "a packet can refer to " + std::to_string(kSlotsMax) + " of its fields at most");
    return std::nullopt;
}

Slot Scope::slot_of(JsonReader& reader, std::string_view key, const std::string& name) {
    if (name.empty()) return kNoSlot;
    if (Field* const field = find(name)) {
        if (!is_integer(field->type) || field->count != 1) {
            reader.problem_at(key, "\"" + name + "\" is not a single integer", "must name an integer field");
            return kNoSlot;
        }
        if (field->slot == kNoSlot) field->slot = next_slot(reader, key).value_or(kNoSlot);
        return field->slot;
    }
    const auto at = primary_header_field(name);
    if (!at) {
        reader.problem_at(key, "\"" + name + "\" is not a field before this one",
                          "must be an integer field that comes before, or one of the primary header's: "
                          "packet_version_number, packet_type, secondary_header_flag, sequence_flags, "
                          "sequence_count, packet_data_length");
        return kNoSlot;
    }
    Scope& top = root();
    for (const auto& [known, slot] : top.of_header_)
        if (known == name) return slot;
    const auto slot = next_slot(reader, key);
    if (!slot) return kNoSlot;
    top.of_header_.emplace_back(name, *slot);
    packet_->header_slots.emplace_back(*at, *slot);
    return *slot;
}

std::optional<RawRange> parse_raw_range(std::string_view text) {
    const std::size_t dots = text.find("..");
    const auto least = parse_whole(text.substr(0, dots));
    const auto greatest = dots == std::string_view::npos ? least : parse_whole(text.substr(dots + 2));
    if (!least || !greatest || *least > *greatest) return std::nullopt;
    return RawRange{*least, *greatest};
}

std::vector<RawRange> read_raw_ranges(JsonReader& reader) {
    std::vector<RawRange> ranges;
    const auto read_one = [&](const nlohmann::json& json) {
        const auto range = parse_raw_range(json.is_string() ? json.get<std::string>() : json.dump());
        if (range)
            ranges.push_back(*range);
        else
            reader.problem("holds what is not a raw value",
                           R"(must be a whole number such as 3, a range such as "4..7", or an array of these)");
    };
    if (!reader.is_array()) {
        read_one(reader.json());
        return ranges;
    }
    if (reader.json().empty() || reader.json().size() > kRangesMax)
        reader.problem("has " + std::to_string(reader.json().size()) + " elements",
                       "must have 1 to " + std::to_string(kRangesMax));
    else
        for (const nlohmann::json& element : reader.json()) read_one(element);
    return ranges;
}

Extent read_extent(JsonReader& reader, std::string_view key, std::int64_t least, std::int64_t most, Scope& scope,
                   bool may_end_with_terminator) {
    Extent extent;
    if (!reader.has(key) || reader.json().find(std::string(key))->is_number()) {
        extent.number = static_cast<std::uint32_t>(reader.integer(key, least, most));
        return extent;
    }
    if (reader.json().find(std::string(key))->is_string()) {
        const auto words = may_end_with_terminator ? std::vector<std::string_view>{"to_end", "to_terminator"}
                                                   : std::vector<std::string_view>{"to_end"};
        extent.by = reader.choice(key, words) == 0 ? Extent::By::to_end : Extent::By::terminator;
        return extent;
    }
    auto inner = reader.object(key);
    if (!inner) return extent;
    extent.by = Extent::By::field;
    extent.slot = scope.slot_of(*inner, "field", inner->text("field"));
    extent.times = static_cast<std::int32_t>(inner->integer_or("times", 1, kFactorMax, 1));
    extent.plus = static_cast<std::int32_t>(inner->integer_or("plus", -kFactorMax, kFactorMax, 0));
    inner->finish();
    return extent;
}

} // namespace turnstone
