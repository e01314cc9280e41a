#include "protocol/xtce/export.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <set>

#include "protocol/text/title.hpp"
#include "protocol/xtce/export_types.hpp"

namespace turnstone {

namespace {

constexpr const char* kSpace = "http://www.omg.org/spec/XTCE/20180204";
constexpr std::uint32_t kPrimaryBits = 48;

struct PrimaryField {
    const char* name;
    unsigned bits;
};
constexpr std::array<PrimaryField, 7> kPrimary{{{"packet_version_number", 3},
                                                {"packet_type", 1},
                                                {"secondary_header_flag", 1},
                                                {"apid", 11},
                                                {"sequence_flags", 2},
                                                {"sequence_count", 14},
                                                {"packet_data_length", 16}}};

/// A space system with its sets, in the order that the schema has them.
struct System {
    XmlNode& node;
    std::string path;
    XmlNode &types, &parameters, &containers;

    static System make(XmlNode& node, const std::string& path) {
        XmlNode& telemetry = node.add("TelemetryMetaData");
        XmlNode& types = telemetry.add("ParameterTypeSet");
        XmlNode& parameters = telemetry.add("ParameterSet");
        return {node, path, types, parameters, telemetry.add("ContainerSet")};
    }
    [[nodiscard]] System inner(const std::string& name) const {
        return make(node.add("SpaceSystem").set("name", name), path + "/" + name);
    }
    /// A set without anything in it is not of the schema.
    void drop_empty_sets() const {
        XmlNode& telemetry =
            node.children.front().name == "Header" ? *std::next(node.children.begin()) : node.children.front();
        telemetry.children.remove_if([](const XmlNode& set) { return set.children.empty(); });
    }
};

/// That a parameter's raw value is in one of some ranges.
struct Demand {
    std::string reference;
    std::vector<RawRange> ranges;
};

void add_bound(XmlNode& to, bool is_comparison, const Demand& demand, const char* relation, std::int64_t value) {
    if (is_comparison) {
        XmlNode& out = to.add("Comparison").set("parameterRef", demand.reference).set("value", std::to_string(value));
        out.set("useCalibratedValue", "false").set("comparisonOperator", relation);
        return;
    }
    XmlNode& out = to.add("Condition");
    out.add("ParameterInstanceRef").set("parameterRef", demand.reference).set("useCalibratedValue", "false");
    out.add("ComparisonOperator", relation);
    out.add("Value", std::to_string(value));
}

void add_range(XmlNode& to, bool is_comparison, const Demand& demand, const RawRange& range) {
    if (range.least == range.greatest) return add_bound(to, is_comparison, demand, "==", range.least);
    XmlNode& both = is_comparison || to.name == "ANDedConditions" ? to : to.add("ANDedConditions");
    add_bound(both, is_comparison, demand, ">=", range.least);
    add_bound(both, is_comparison, demand, "<=", range.greatest);
}

/// All of them must hold.
void add_demands(XmlNode& to, const std::vector<Demand>& demands) {
    const bool is_list = std::ranges::all_of(demands, [](const Demand& each) { return each.ranges.size() == 1; });
    XmlNode& whole = to.add(is_list ? "ComparisonList" : "BooleanExpression");
    XmlNode& around = is_list || demands.size() == 1 ? whole : whole.add("ANDedConditions");
    for (const Demand& demand : demands) {
        XmlNode& into = demand.ranges.size() == 1 ? around : around.add("ORedConditions");
        for (const RawRange& range : demand.ranges) add_range(into, is_list, demand, range);
    }
}

/// One packet as a space system of its own, so that its fields keep their names.
class PacketExport {
  public:
    PacketExport(const Packet& packet, const System& root, XtceExport& out)
        : packet_(&packet), root_(&root), out_(&out), system_(root.inner(packet.name)) {}

    void write();

  private:
    struct Place {
        const System* system;
        std::string where; ///< "packet" or "packet.group"
        XmlNode* entries;
        std::uint32_t gap = 0; ///< bits that nothing was written for since the entry before
    };

    void say(const std::string& where, const std::string& what, const std::string& why) const {
        out_->not_written.push_back({where, what, why});
    }
    [[nodiscard]] ReferenceOf reference_of() const {
        return [this](Slot slot) {
            const auto found = references_.find(slot);
            return found == references_.end() ? std::string() : found->second;
        };
    }
    [[nodiscard]] bool is_told(const Extent& extent) const {
        return extent.by != Extent::By::field || references_.contains(extent.slot);
    }
    XmlNode& add_entry(Place& place, const char* kind, const char* attribute, const std::string& reference);
    void add_parameter(Place& place, const std::string& name, XmlNode type, const std::string& description);
    void add_padding(Place& place, std::uint32_t bits);
    void add_field(Place& place, const Field& field);
    bool add_group(Place& place, const Group& group);
    void add_segment_fields(Place& place, const Layout& layout, std::size_t segment);
    bool add_layout(Place& place, const Layout& layout, bool to_whole_bytes);
    void say_what_is_ours(const Place& place, const Field& field) const;
    void finish(XmlNode& container, const std::string& base, const std::vector<Demand>& demands) const;
    void split(Place& place);
    [[nodiscard]] std::vector<Demand> primary_demands();

    const Packet* packet_;
    const System* root_;
    XtceExport* out_;
    System system_;
    std::map<Slot, std::string> references_;
    std::map<std::uint32_t, std::pair<unsigned, std::string>> placed_; ///< by first bit in the packet: bits, reference
    std::vector<const PacketCondition*> own_;                          ///< conditions on fields behind the header
    XmlNode* start_ = nullptr; ///< the container of what comes before such a condition can be judged
    XmlNode* container_ = nullptr;
};

XmlNode& PacketExport::add_entry(Place& place, const char* kind, const char* attribute, const std::string& reference) {
    XmlNode& entry = place.entries->add(kind).set(attribute, reference);
    if (place.gap > 0)
        entry.add("LocationInContainerInBits")
            .set("referenceLocation", "previousEntry")
            .add("FixedValue", std::to_string(place.gap));
    place.gap = 0;
    return entry;
}

void PacketExport::add_parameter(Place& place, const std::string& name, XmlNode type, const std::string& description) {
    XmlNode& parameter = place.system->parameters.add("Parameter").set("name", name);
    parameter.set("parameterTypeRef", place.system->path + "/" + name);
    if (!description.empty()) parameter.set("shortDescription", description);
    place.system->types.children.push_back(std::move(type));
    add_entry(place, "ParameterRefEntry", "parameterRef", place.system->path + "/" + name);
}

/// Bits at the end, which nothing comes after to skip them.
void PacketExport::add_padding(Place& place, std::uint32_t bits) {
    place.gap -= bits;
    for (int k = 0; bits > 0; ++k) {
        const std::uint32_t each = std::min<std::uint32_t>(bits, 64);
        const std::string name = "padding-" + std::to_string(k);
        XmlNode type{.name = "IntegerParameterType"};
        type.set("name", name).set("sizeInBits", std::to_string(each)).set("signed", "false").add("UnitSet");
        type.add("IntegerDataEncoding").set("sizeInBits", std::to_string(each)).set("encoding", "unsigned");
        add_parameter(place, name, std::move(type), "");
        bits -= each;
    }
}

/// What the station keeps of a channel, and no other program would know what to do with.
void PacketExport::say_what_is_ours(const Place& place, const Field& field) const {
    std::string what;
    const auto add = [&](bool is_said, const char* key) {
        if (is_said) what += (what.empty() ? "" : ", ") + std::string(key);
    };
    add(!field.roles.empty(), "role");
    add(field.title != title_from_name(field.name, field.unit), "title");
    add(!field.group.empty() && field.group != packet_->name, "group");
    add(field.decimals != 2, "decimals");
    if (!what.empty())
        say(place.where + "." + field.name, what, "has no place in XTCE; whoever needs it takes dictionary.json");
}

void PacketExport::add_field(Place& place, const Field& field) {
    const auto say_of_field = [&](const std::string& what, const std::string& why) {
        say(place.where + "." + field.name, what, why);
    };
    const std::uint32_t bits = field.bit_width * field.count;
    if (field.is_part) return say_of_field("part_of", "fields that share bits are written once, as the whole");
    const std::string element = field.count > 1 ? field.name + "-element" : field.name;
    auto type = xtce_type(field, element, reference_of(), say_of_field);
    if (!type) {
        place.gap += bits;
        return;
    }
    say_what_is_ours(place, field);
    if (field.count > 1) {
        place.system->types.children.push_back(std::move(*type));
        type = XmlNode{.name = "ArrayParameterType"};
        type->set("name", field.name).set("arrayTypeRef", place.system->path + "/" + element);
        XmlNode& dimension = type->add("DimensionList").add("Dimension");
        dimension.add("StartingIndex").add("FixedValue", "0");
        dimension.add("EndingIndex").add("FixedValue", std::to_string(field.count - 1));
    }
    add_parameter(place, field.name, std::move(*type), field.description);
    ++out_->fields;
    if (field.slot != kNoSlot) references_[field.slot] = place.system->path + "/" + field.name;
}

bool PacketExport::add_group(Place& place, const Group& group) {
    const std::string where = place.where + "." + group.name;
    std::vector<Demand> demands;
    for (const FieldCondition& condition : group.when)
        demands.push_back({reference_of()(condition.slot), condition.ranges});
    const bool is_sized = is_told(group.count) && (group.count.is_fixed() || group.count.by == Extent::By::field);
    if (!is_sized || std::ranges::any_of(demands, [](const Demand& each) { return each.reference.empty(); })) {
        say(where, "group", "a count up to the packet's end, or told by a field that is not written");
        return false;
    }
    if (group.period_ms != 0 || group.first_offset_ms != 0)
        say(where, "period_ms, first_offset_ms", "XTCE has no time of a repetition here; all are of the packet's time");
    const System inner = place.system->inner(group.name);
    XmlNode& container = inner.containers.add("SequenceContainer").set("name", group.name);
    if (!group.description.empty()) container.set("shortDescription", group.description);
    Place into{&inner, where, &container.add("EntryList")};
    const std::size_t fields = out_->fields;
    if (!add_layout(into, group.layout, group.is_padded) || out_->fields == fields) {
        if (out_->fields == fields) say(where, "group", "none of its fields can be written");
        place.system->node.children.pop_back();
        out_->fields = fields;
        return false;
    }
    if (into.gap > 0) add_padding(into, into.gap);
    inner.drop_empty_sets();
    XmlNode& entry = add_entry(place, "ContainerRefEntry", "containerRef", inner.path + "/" + group.name);
    if (demands.empty() || !group.count.is_fixed() || group.count.number != 1)
        (void)add_extent(group.count, 1, reference_of(), entry.add("RepeatEntry").add("Count"));
    if (!demands.empty()) add_demands(entry.add("IncludeCondition"), demands);
    return true;
}

void PacketExport::add_segment_fields(Place& place, const Layout& layout, std::size_t segment) {
    std::vector<const Field*> fields;
    for (const Field& field : layout.fields)
        if (field.segment == segment && field.extent.is_fixed()) fields.push_back(&field);
    std::ranges::stable_sort(fields, {}, &Field::bit_offset);
    const bool is_main = place.system == &system_ && segment == 0;
    const std::uint32_t begin = kPrimaryBits + (&layout == &packet_->body ? 8 * packet_->header_bytes : 0);
    std::uint32_t at = 0;
    for (const Field* const field : fields) {
        if (!field->is_part) {
            place.gap += field->bit_offset - at;
            at = field->bit_offset + field->bit_width * field->count;
        }
        const std::size_t before = out_->fields;
        add_field(place, *field);
        if (!is_main || out_->fields == before || field->count != 1) continue;
        placed_[begin + field->bit_offset] = {field->bit_width, system_.path + "/" + field->name};
        split(place);
    }
    place.gap += layout.segments[segment].bits - at;
}

/// Once all fields are there that the conditions speak of, what follows is of a container that extends this one.
void PacketExport::split(Place& place) {
    if (own_.empty() || start_ != nullptr) return;
    for (const PacketCondition* const condition : own_) {
        const auto found = placed_.find(condition->at.bit);
        if (found == placed_.end() || found->second.first != condition->at.bit_width) return;
    }
    start_ = container_;
    start_->attributes.front().second = packet_->name + "-start";
    start_->set("abstract", "true");
    container_ = &system_.containers.add("SequenceContainer").set("name", packet_->name);
    place.entries = &container_->add("EntryList");
}

/// Each repetition is whole octets.
bool is_of_octets(const Group& group) {
    const Layout& layout = group.layout;
    if (group.is_padded || layout.bits_fixed) return group.is_padded || *layout.bits_fixed % 8 == 0;
    const Segment& last = layout.segments.back();
    if (last.then == Segment::Then::group) return is_of_octets(layout.groups[last.index]);
    return last.then == Segment::Then::field || last.bits % 8 == 0;
}

bool PacketExport::add_layout(Place& place, const Layout& layout, bool to_whole_bytes) {
    const auto round_up = [&](std::uint32_t bits) { place.gap += (8 - bits % 8) % 8; };
    for (std::size_t k = 0; k < layout.segments.size(); ++k) {
        const Segment& segment = layout.segments[k];
        add_segment_fields(place, layout, k);
        const bool is_last = k + 1 == layout.segments.size();
        if (segment.then != Segment::Then::nothing || to_whole_bytes || !is_last) round_up(segment.bits);
        bool is_good = true;
        if (segment.then == Segment::Then::group) {
            const Group& group = layout.groups[segment.index];
            is_good = add_group(place, group);
            if (is_good && !is_of_octets(group) &&
                (!is_last &&
                 (layout.segments[k + 1].bits > 0 || layout.segments[k + 1].then != Segment::Then::nothing))) {
                say(place.where, "fields behind " + group.name,
                    "they begin at the next octet, which XTCE cannot say of something that is not whole octets; they "
                    "are left out");
                return false;
            }
        } else if (segment.then == Segment::Then::field) {
            const Field& field = layout.fields[segment.index];
            const std::size_t before = out_->fields;
            if (is_told(field.extent))
                add_field(place, field);
            else
                say(place.where + "." + field.name, "field", "its size is told by a field that is not written");
            is_good = out_->fields != before;
        }
        if (is_good) continue;
        say(place.where, "everything from there on",
            "what comes after something that cannot be written has no place; it is left out");
        return false;
    }
    return true;
}

std::vector<Demand> PacketExport::primary_demands() {
    std::map<std::string, std::vector<RawRange>> wanted{{"packet_version_number", {{0, 0}}},
                                                        {"packet_type", {{0, 0}}},
                                                        {"apid", {{packet_->apid, packet_->apid}}},
                                                        {"sequence_flags", {{3, 3}}}};
    if (packet_->header_bytes > 0) wanted["secondary_header_flag"] = {{1, 1}};
    for (const PacketCondition& condition : packet_->when) {
        std::uint32_t bit = 0;
        const PrimaryField* found = nullptr;
        for (const PrimaryField& each : kPrimary) {
            if (bit == condition.at.bit && each.bits == condition.at.bit_width) found = &each;
            bit += each.bits;
        }
        if (found == nullptr)
            own_.push_back(&condition);
        else
            wanted[found->name] = condition.ranges;
    }
    std::vector<Demand> out;
    for (const PrimaryField& each : kPrimary)
        if (const auto found = wanted.find(each.name); found != wanted.end())
            out.push_back({root_->path + "/" + each.name, found->second});
    return out;
}

/// The base comes behind the entries.
void PacketExport::finish(XmlNode& container, const std::string& base, const std::vector<Demand>& demands) const {
    XmlNode& extended = container.add("BaseContainer").set("containerRef", base);
    if (!demands.empty()) add_demands(extended.add("RestrictionCriteria"), demands);
}

void PacketExport::write() {
    const std::size_t fields = out_->fields;
    bool has_packet_time = false;
    std::vector<Demand> primary = primary_demands();
    for (const auto& [at, slot] : packet_->header_slots) {
        std::uint32_t bit = 0;
        for (const PrimaryField& each : kPrimary) {
            if (bit == at.bit && each.bits == at.bit_width) references_[slot] = root_->path + "/" + each.name;
            bit += each.bits;
        }
    }
    container_ = &system_.containers.add("SequenceContainer").set("name", packet_->name);
    XmlNode* const first = container_;
    Place place{&system_, packet_->name, &container_->add("EntryList")};
    if (packet_->header_bytes > 0 && packet_->header.fields.empty() && packet_->time) {
        const auto say_of_time = [&](const std::string& what, const std::string& why) {
            say(packet_->name, what, why);
        };
        auto type = xtce_time_type(packet_->time->code, "packet-time", say_of_time);
        has_packet_time = type.has_value();
        if (has_packet_time)
            add_parameter(place, "packet-time", std::move(*type), "");
        else
            place.gap = 8 * packet_->header_bytes;
    } else if (packet_->header_bytes > 0) {
        add_segment_fields(place, packet_->header, 0);
        place.gap += 8 * packet_->header_bytes - packet_->header.segments[0].bits;
    }
    const bool is_whole = add_layout(place, packet_->body, false);
    const std::uint32_t in_last_octet = (packet_->body.segments.back().bits + 7) % 8 + 1; // 1 to 8
    if (is_whole && place.gap >= in_last_octet) add_padding(place, place.gap);
    const std::string length = root_->path + "/packet_data_length";
    if (std::ranges::any_of(primary, [&](const Demand& each) { return each.reference == length; })) {
        if (packet_->may_have_more) say(packet_->name, "octets", "its when speaks of packet_data_length already");
    } else if (packet_->may_have_more || !is_whole) { // what is left out is octets behind the fields that are written
        primary.push_back({length, {{std::int64_t{packet_->bytes_min} - 7, std::int64_t{packet_->bytes_max} - 7}}});
    }
    std::vector<Demand> own;
    for (const PacketCondition* const condition : own_) {
        const auto found = placed_.find(condition->at.bit);
        if (start_ != nullptr && found != placed_.end()) own.push_back({found->second.second, condition->ranges});
    }
    if (own.size() < own_.size() || (out_->fields == fields && !has_packet_time)) {
        say(packet_->name, "packet",
            own.size() < own_.size() ? "its when speaks of a field that is not written, so that other packets would be "
                                       "taken for it; it is left out"
                                     : "nothing of it can be written; it is left out");
        root_->node.children.pop_back();
        out_->fields = fields;
        return;
    }
    // Description and rate stand before the entries, and are of the packet itself.
    if (!packet_->description.empty()) container_->set("shortDescription", packet_->description);
    if (packet_->period_ms > 0) {
        XmlNode rate{.name = "DefaultRateInStream"};
        rate.set("basis", "perSecond").set("minimumValue", xtce_number(1e3 / packet_->period_ms));
        container_->children.push_front(std::move(rate));
    }
    finish(*first, root_->path + "/space_packet", primary);
    if (start_ != nullptr) finish(*container_, system_.path + "/" + packet_->name + "-start", own);
    system_.drop_empty_sets();
    ++out_->packets;
}

void write_primary_header(const System& root) {
    XmlNode& container = root.containers.add("SequenceContainer").set("name", "space_packet").set("abstract", "true");
    XmlNode& entries = container.add("EntryList");
    for (const PrimaryField& each : kPrimary) {
        const std::string bits = std::to_string(each.bits);
        XmlNode& type = root.types.add("IntegerParameterType").set("name", each.name);
        type.set("sizeInBits", bits).set("signed", "false").add("UnitSet");
        type.add("IntegerDataEncoding").set("sizeInBits", bits).set("encoding", "unsigned");
        root.parameters.add("Parameter").set("name", each.name).set("parameterTypeRef", root.path + "/" + each.name);
        entries.add("ParameterRefEntry").set("parameterRef", root.path + "/" + each.name);
    }
}

} // namespace

XtceExport export_xtce(const Dictionary& dictionary) {
    XtceExport out;
    XmlNode document{.name = "SpaceSystem"};
    document.set("name", dictionary.vehicle);
    if (dictionary.title != dictionary.vehicle) document.set("shortDescription", dictionary.title);
    document.add("Header").set("version", dictionary.version).set("validationStatus", "Unknown");
    const System root = System::make(document, "/" + dictionary.vehicle);
    write_primary_header(root);
    std::set<unsigned> shared;
    for (const Packet& packet : dictionary.packets) {
        const bool is_shared = std::ranges::count(dictionary.packets, packet.apid, &Packet::apid) > 1;
        if (is_shared && shared.insert(packet.apid).second)
            out.not_written.push_back({packet.name, "order",
                                       "packets of APID " + std::to_string(packet.apid) +
                                           " are tried in the dictionary's order, which XTCE does not have; see that "
                                           "their conditions exclude each other"});
        PacketExport(packet, root, out).write();
    }
    out.xml = to_xml(document, kSpace);
    return out;
}

} // namespace turnstone
