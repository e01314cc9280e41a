#include "protocol/xtce/import.hpp"

#include <algorithm>
#include <array>
#include <cstdlib>
#include <set>

#include <nlohmann/json.hpp>

#include "protocol/dictionary/dictionary.hpp"
#include "protocol/text/column_name.hpp"
#include "protocol/xtce/parameter_types.hpp"

namespace turnstone {

namespace {

constexpr std::uint32_t kHeaderBits = 48; // the primary header of a space packet
constexpr std::size_t kBasesMost = 32;

/// A field of the primary header by its place, as conditions call it.
struct HeaderField {
    std::uint32_t bit, width;
    const char* name;
    std::int64_t usual; ///< what needs no condition; -1: nothing
};
constexpr std::array<HeaderField, 7> kHeader{{{0, 3, "packet_version_number", 0},
                                              {3, 1, "packet_type", 0},
                                              {4, 1, "secondary_header_flag", -1},
                                              {5, 11, "apid", -1},
                                              {16, 2, "sequence_flags", 3},
                                              {18, 14, "sequence_count", -1},
                                              {32, 16, "packet_data_length", -1}}};

/// One container as a packet, while its entries are read.
class PacketReader {
  public:
    /// `parts` gets the containers that are parts of others.
    PacketReader(const SpaceSystems& systems, const ParameterTypes& types, std::set<const XmlElement*>& parts)
        : systems_(&systems), types_(&types), parts_(&parts) {}

    /// Empty: `why()` says what of it the dictionary cannot express.
    std::optional<nlohmann::json> read(const XtceItem& container);
    [[nodiscard]] const std::string& why() const noexcept { return why_; }
    [[nodiscard]] bool has_apid() const noexcept { return apid_.has_value(); }
    [[nodiscard]] std::size_t fields() const noexcept { return fields_; }

  private:
    struct Known {
        std::string name; ///< in the packet, or of the primary header
        bool is_header;
    };
    /// A range that two comparisons make, by the name of what they compare.
    struct Bounds {
        std::optional<std::int64_t> least, greatest;
    };
    bool fail(const std::string& why) {
        if (why_.empty()) why_ = why;
        return false;
    }
    bool add_entries(const XtceItem& container, nlohmann::json& to, std::size_t depth);
    bool add_entry(const XmlElement& entry, const std::string& system, nlohmann::json& to, std::size_t depth);
    bool add_parameter(const XmlElement& entry, const std::string& system, nlohmann::json& to);
    bool move_to(const XmlElement& entry, nlohmann::json& to);
    bool add_field(const XtceItem& parameter, const XtceField& field, nlohmann::json& to);
    bool add_conditions(const XmlElement& criteria, const std::string& system, nlohmann::json& when);
    bool add_comparison(const XmlElement& comparison, const std::string& system, nlohmann::json& when);
    std::optional<nlohmann::json> group_of(const XmlElement& entry, const std::string& system);
    std::string unique(const std::string& name);
    /// Of integers so far that are not in the primary header.
    [[nodiscard]] ParameterTypes::NameOf name_of() const {
        return [this](const XtceItem& parameter) {
            const auto found = known_.find(parameter.element);
            return found == known_.end() || found->second.is_header ? std::nullopt : std::optional(found->second.name);
        };
    }

    const SpaceSystems* systems_;
    const ParameterTypes* types_;
    std::set<const XmlElement*>* parts_;
    std::string why_;
    std::optional<std::uint32_t> bit_ = 0;     ///< where the next entry is; empty: the packet tells
    std::map<const XmlElement*, Known> known_; ///< integers by their parameter
    std::set<std::string> names_;              ///< of the packet, or of the group at hand
    std::map<std::string, Bounds> bounds_;     ///< of one set of conditions
    std::size_t fields_ = 0;
    std::optional<std::int64_t> apid_;
    bool has_time_ = false;
};

std::string PacketReader::unique(const std::string& name) {
    std::string base = column_name(name), out = base;
    for (int k = 2; !names_.insert(out).second; ++k) out = base + "_" + std::to_string(k);
    return out;
}

bool PacketReader::move_to(const XmlElement& entry, nlohmann::json& to) {
    const XmlElement* const location = entry.child("LocationInContainerInBits");
    if (location == nullptr) return true;
    const XmlElement* const fixed = location->child("FixedValue");
    const auto offset = fixed == nullptr ? std::nullopt : xtce_integer(fixed->text());
    const std::string from = location->attribute("referenceLocation", "previousEntry");
    if (offset && !bit_ && from == "previousEntry" && *offset >= 0 && *offset <= 500'000) {
        if (*offset > 0) to.push_back({{"spare_bits", *offset}});
        return true;
    }
    if (!offset || !bit_ || (from != "previousEntry" && from != "containerStart"))
        return fail("an entry whose place is not fixed");
    const std::int64_t wanted = from == "containerStart" ? *offset : *bit_ + *offset;
    if (wanted < *bit_ || wanted > *bit_ + 500'000) return fail("an entry that lies over the one before it");
    if (wanted > *bit_ && *bit_ >= kHeaderBits) to.push_back({{"spare_bits", wanted - *bit_}});
    bit_ = static_cast<std::uint32_t>(wanted);
    return true;
}

bool PacketReader::add_field(const XtceItem& parameter, const XtceField& field, nlohmann::json& to) {
    if (bit_ && *bit_ < kHeaderBits) {
        if (!field.bits || *bit_ + *field.bits > kHeaderBits)
            return fail("an entry across the end of the primary header");
        const auto header = std::ranges::find_if(
            kHeader, [&](const HeaderField& each) { return each.bit == *bit_ && each.width == *field.bits; });
        if (header != kHeader.end()) known_[parameter.element] = {header->name, true};
        *bit_ += *field.bits;
        return true;
    }
    if (field.needs_octets && bit_ && *bit_ % 8 != 0)
        return fail("an entry that has to begin at an octet, and does not");
    nlohmann::json out = field.json;
    const std::string name = parameter.element->attribute("name", "");
    out["name"] = unique(field.name.empty() ? name : name + "_" + field.name);
    const std::string description = parameter.element->attribute("shortDescription", "");
    if (!description.empty()) out["description"] = description;
    if (out.at("type") == "time" && !has_time_) {
        out["is_packet_time"] = true;
        has_time_ = true;
    }
    if (field.is_integer && field.name.empty()) known_[parameter.element] = {out.at("name").get<std::string>(), false};
    ++fields_;
    if (bit_ && field.bits)
        *bit_ += *field.bits;
    else
        bit_ = std::nullopt;
    to.push_back(std::move(out));
    return true;
}

bool PacketReader::add_parameter(const XmlElement& entry, const std::string& system, nlohmann::json& to) {
    const std::string reference = entry.attribute("parameterRef", "");
    const XtceItem* const parameter = systems_->find(XtceKind::parameter, system, reference);
    if (parameter == nullptr) return fail("the parameter " + reference + ", which is not there");
    const XtceItem* const type =
        systems_->find(XtceKind::type, parameter->system, parameter->element->attribute("parameterTypeRef", ""));
    if (type == nullptr) return fail("the type of " + reference + ", which is not there");
    std::string why;
    const std::vector<XtceField> fields = types_->fields_of(*type, name_of(), why);
    if (fields.empty()) return fail(reference + ": " + why);
    for (const XtceField& field : fields)
        if (!add_field(*parameter, field, to)) return false;
    return true;
}

/// A group that comes several times, or under a condition, without its fields. A null value: the entry is none.
std::optional<nlohmann::json> PacketReader::group_of(const XmlElement& entry, const std::string& system) {
    const XmlElement* const condition = entry.child("IncludeCondition");
    const XmlElement* const repeat = entry.child("RepeatEntry");
    if (condition == nullptr && repeat == nullptr) return nlohmann::json();
    nlohmann::json group = {{"fields", nlohmann::json::array()}};
    if (condition != nullptr) {
        nlohmann::json when = nlohmann::json::object();
        if (!add_conditions(*condition, system, when)) return std::nullopt;
        group["when"] = when;
    }
    if (repeat == nullptr) return group;
    const XmlElement* const count = repeat->child("Count");
    if (count == nullptr || repeat->child("Offset") != nullptr) {
        (void)fail("a repetition with a distance, or without a count");
        return std::nullopt;
    }
    if (const XmlElement* const fixed = count->child("FixedValue")) {
        const auto number = xtce_integer(fixed->text());
        if (!number || *number < 1 || *number > 1000) {
            (void)fail("a repetition of " + fixed->text());
            return std::nullopt;
        }
        group["count"] = *number;
        return group;
    }
    std::string why = "a repetition without a count";
    const XmlElement* const dynamic = count->child("DynamicValue");
    auto told = dynamic == nullptr ? std::nullopt : types_->extent_of(*dynamic, system, 1, name_of(), why);
    if (!told) {
        (void)fail(why);
        return std::nullopt;
    }
    group["count"] = std::move(*told);
    return group;
}

bool PacketReader::add_entry(const XmlElement& entry, const std::string& system, nlohmann::json& to,
                             std::size_t depth) {
    if (depth > kBasesMost) return fail("containers in containers without an end");
    entry.mark_read();
    if (!move_to(entry, to)) return false;
    auto group = group_of(entry, system);
    if (!group) return false;
    if (!group->is_null() && bit_ && *bit_ < kHeaderBits)
        return fail("a repetition or condition in the primary header");
    nlohmann::json& into = group->is_null() ? to : group->at("fields");
    const std::optional<std::uint32_t> begin = bit_;
    const std::set<std::string> around = names_;
    if (!group->is_null()) names_.clear(); // a group is a table of its own
    std::string name;
    if (entry.name() == "ParameterRefEntry") {
        name = entry.attribute("parameterRef", "");
        if (!add_parameter(entry, system, into)) return false;
    } else if (entry.name() == "ContainerRefEntry") {
        name = entry.attribute("containerRef", "");
        const XtceItem* const container = systems_->find(XtceKind::container, system, name);
        if (container == nullptr) return fail("the container " + name + ", which is not there");
        parts_->insert(container->element);
        const std::string description = container->element->attribute("shortDescription", "");
        if (!group->is_null() && !description.empty()) group->emplace("description", description);
        if (!add_entries(*container, into, depth + 1)) return false;
    } else if (entry.name() == "FixedValueEntry") {
        const auto bits = xtce_integer(entry.attribute("sizeInBits", ""));
        if (!bits || *bits < 1 || *bits > 500'000 || !bit_) return fail("a fixed value without a size");
        (void)entry.attribute("binaryValue");
        if (*bit_ >= kHeaderBits) into.push_back({{"spare_bits", *bits}});
        *bit_ += static_cast<std::uint32_t>(*bits);
    } else {
        return fail(entry.name());
    }
    if (group->is_null()) return true;
    if (!begin || !bit_ || (*bit_ - *begin) % 8 != 0 || *begin % 8 != 0)
        return fail("a repetition or condition of no whole octets");
    names_ = around;
    group->emplace("name", unique(name.substr(name.rfind('/') + 1)));
    bit_ = std::nullopt; // a condition or a count decides
    to.push_back(std::move(*group));
    return true;
}

bool PacketReader::add_entries(const XtceItem& container, nlohmann::json& to, std::size_t depth) {
    container.element->mark_read();
    const XmlElement* const list = container.element->child("EntryList");
    if (list == nullptr) return true;
    for (const auto& entry : list->children())
        if (!add_entry(*entry, container.system, to, depth)) return false;
    return true;
}

bool PacketReader::add_comparison(const XmlElement& comparison, const std::string& system, nlohmann::json& when) {
    const std::string reference = comparison.attribute("parameterRef", ""), value = comparison.attribute("value", "");
    const XtceItem* const parameter = systems_->find(XtceKind::parameter, system, reference);
    const auto known = parameter == nullptr ? known_.end() : known_.find(parameter->element);
    if (known == known_.end()) return fail("a condition on " + reference + ", which is not an integer before it");
    const XtceItem* const type =
        systems_->find(XtceKind::type, parameter->system, parameter->element->attribute("parameterTypeRef", ""));
    const auto raw =
        type == nullptr ? std::nullopt
                        : types_->raw_value(*type, value, comparison.attribute("useCalibratedValue", "true") == "true");
    const std::string relation = comparison.attribute("comparisonOperator", "==");
    if ((relation != "==" && relation != ">=" && relation != "<=") || !raw)
        return fail("a condition on " + reference +
                    " other than that it equals an integer, or is in a range of them; one on a calibrated value has "
                    "to be written on the raw one, with useCalibratedValue=\"false\"");
    if (relation != "==") {
        Bounds& bounds = bounds_[known->second.name];
        (relation == ">=" ? bounds.least : bounds.greatest) = raw;
        return true;
    }
    const std::string& name = known->second.name;
    if (known->second.is_header && name == "apid") {
        apid_ = *raw;
        return true;
    }
    const auto header = std::ranges::find_if(kHeader, [&](const HeaderField& each) { return name == each.name; });
    if (!known->second.is_header || header == kHeader.end() || header->usual != *raw) when[name] = *raw;
    return true;
}

bool PacketReader::add_conditions(const XmlElement& criteria, const std::string& system, nlohmann::json& when) {
    std::vector<const XmlElement*> all = criteria.children("Comparison");
    if (const XmlElement* const list = criteria.child("ComparisonList"))
        for (const XmlElement* const each : list->children("Comparison")) all.push_back(each);
    if (all.empty()) return fail("conditions other than comparisons");
    bounds_.clear();
    if (!std::ranges::all_of(all, [&](const XmlElement* each) { return add_comparison(*each, system, when); }))
        return false;
    for (const auto& [name, bounds] : bounds_) {
        if (!bounds.least || !bounds.greatest || *bounds.least > *bounds.greatest || name == "apid" ||
            when.contains(name))
            return fail("a condition on " + name + " that is not one value, nor a range with both ends");
        when[name] = std::to_string(*bounds.least) + ".." + std::to_string(*bounds.greatest);
    }
    return true;
}

std::optional<nlohmann::json> PacketReader::read(const XtceItem& container) {
    std::vector<XtceItem> chain{container}; // the container, what it extends, and so on
    for (;;) {
        const XmlElement* const base = chain.back().element->child("BaseContainer");
        if (base == nullptr) break;
        const std::string reference = base->attribute("containerRef", "");
        const XtceItem* const found = systems_->find(XtceKind::container, chain.back().system, reference);
        if (found == nullptr || chain.size() > kBasesMost) {
            (void)fail("the base " + reference + ", which is not there");
            return std::nullopt;
        }
        chain.push_back(*found);
    }
    nlohmann::json fields = nlohmann::json::array(), when = nlohmann::json::object();
    for (auto each = chain.rbegin(); each != chain.rend(); ++each) {
        const XmlElement* const base = each->element->child("BaseContainer");
        const XmlElement* const criteria = base == nullptr ? nullptr : base->child("RestrictionCriteria");
        if (criteria != nullptr && !add_conditions(*criteria, each->system, when)) return std::nullopt;
        if (!add_entries(*each, fields, 0)) return std::nullopt;
    }
    if (!apid_ || *apid_ < 0 || *apid_ > 2046) {
        (void)fail("no condition on an APID, the eleven bits from bit 5 on");
        return std::nullopt;
    }
    if (std::ranges::none_of(fields, [](const nlohmann::json& field) { return !field.contains("spare_bits"); })) {
        (void)fail("no entry behind the primary header");
        return std::nullopt;
    }
    nlohmann::json packet = {{"apid", *apid_},
                             {"period_ms", 0},
                             {"secondary_header", {{"fields", nlohmann::json::array()}}},
                             {"fields", std::move(fields)}};
    const std::string description = container.element->attribute("shortDescription", "");
    if (!description.empty()) packet["description"] = description;
    if (!when.empty()) packet["when"] = std::move(when);
    const XmlElement* const rate = container.element->child("DefaultRateInStream");
    const double hz = rate == nullptr ? 0 : std::strtod(rate->attribute("minimumValue", "0").c_str(), nullptr);
    if (hz >= 1e-4 && hz <= 1e6 && rate->attribute("basis", "perSecond") == "perSecond") packet["period_ms"] = 1e3 / hz;
    return packet;
}

/// Why an element is left out, by its name.
std::string reason_for(const std::string& name) {
    constexpr std::array<std::pair<std::string_view, std::string_view>, 8> kReasons{
        {{"CommandMetaData", "a station that only receives has no commands"},
         {"ContextCalibratorList", "calibrations by another parameter's calibrated value are written by hand"},
         {"ContextAlarmList", "alarms in a context are written by hand, with while or phases"},
         {"AlgorithmSet", "nothing is computed from parameters"},
         {"StreamSet", "the framing of a link is given with the link"},
         {"MessageSet", "packets are told apart by their containers"},
         {"ServiceSet", "there are no services"},
         {"Header", "of the document, not of packets"}}};
    const auto found = std::ranges::find(kReasons, name, [](const auto& each) { return each.first; });
    return found == kReasons.end() ? "the dictionary has nothing for it, or nothing uses it"
                                   : std::string(found->second);
}

/// Whatever nobody has read, the outermost of it.
void add_unread(const XmlElement& element, const std::string& around, std::vector<NotCarried>& out) {
    const std::string name = element.attribute("name", "");
    const std::string here = name.empty() ? around : name;
    const std::string of = here.empty() ? "" : " of " + here;
    for (const std::string& attribute : element.attributes_not_read())
        out.push_back({element.line(), element.name() + " " + attribute + "=" + of,
                       "the dictionary has nothing for it, or nothing uses it"});
    for (const auto& child : element.children()) {
        if (child->is_read())
            add_unread(*child, here, out);
        else
            out.push_back(
                {child->line(), child->name() + " " + child->attribute("name", "") + of, reason_for(child->name())});
    }
}

} // namespace

std::optional<XtceImport> import_xtce(std::string_view xml, const std::string& file, std::vector<Problem>& problems) {
    const auto root = parse_xml(xml, file, problems);
    if (!root) return std::nullopt;
    if (root->name() != "SpaceSystem") {
        problems.push_back(
            {file, "line " + std::to_string(root->line()), "is a " + root->name(), "expected a SpaceSystem"});
        return std::nullopt;
    }
    XtceImport out;
    const SpaceSystems systems(*root);
    const ParameterTypes types(systems, out.not_carried);
    std::vector<nlohmann::json> packets;
    std::set<std::string> names;
    std::set<const XmlElement*> parts;
    std::vector<std::pair<const XmlElement*, NotCarried>> no_packets;
    for (const XtceItem& container : systems.containers()) {
        const std::string name = container.element->attribute("name", "");
        if (container.element->attribute("abstract", "false") == "true") continue;
        const std::size_t notes = out.not_carried.size();
        PacketReader reader(systems, types, parts);
        auto packet = reader.read(container);
        if (!packet) {
            out.not_carried.resize(notes);
            no_packets.push_back({container.element,
                                  {container.element->line(), "SequenceContainer " + name,
                                   "is not a packet here, for it has " + reader.why()}});
            continue;
        }
        std::string base = column_name(name), unique = base;
        for (int k = 2; !names.insert(unique).second; ++k) unique = base + "_" + std::to_string(k);
        packet->emplace("name", unique);
        out.fields += reader.fields();
        packets.push_back(std::move(*packet));
    }
    for (auto& [element, note] : no_packets)
        if (!parts.contains(element)) out.not_carried.push_back(std::move(note));
    if (packets.empty()) {
        problems.push_back(
            {file, "",
             "has no container that is a packet" +
                 (out.not_carried.empty() ? std::string()
                                          : ": " + out.not_carried.front().what + " " + out.not_carried.front().why),
             "expected containers that extend a primary header of 48 bits with a condition on its APID"});
        return std::nullopt;
    }
    // Of one APID, those with more conditions first: a packet without any takes what is left.
    std::ranges::stable_sort(packets, [](const nlohmann::json& a, const nlohmann::json& b) {
        const auto conditions = [](const nlohmann::json& packet) {
            return packet.contains("when") ? packet.at("when").size() : std::size_t{0};
        };
        return conditions(a) > conditions(b);
    });
    out.packets = packets.size();
    const XmlElement* const header = root->child("Header");
    const std::string version = header == nullptr ? "1" : header->attribute("version", "1");
    if (header != nullptr) (void)header->attribute("validationStatus");
    add_unread(*root, "", out.not_carried);
    std::ranges::stable_sort(out.not_carried, {}, &NotCarried::line);
    const auto same = [](const NotCarried& a, const NotCarried& b) {
        return a.line == b.line && a.what == b.what && a.why == b.why;
    };
    out.not_carried.erase(std::unique(out.not_carried.begin(), out.not_carried.end(), same), out.not_carried.end());
    std::string vehicle = column_name(root->attribute("name", ""));
    const nlohmann::json dictionary = {
        {"vehicle", vehicle.empty() ? "vehicle" : vehicle}, {"version", version}, {"packets", packets}};
    out.dictionary = dictionary.dump(1) + "\n";
    (void)read_dictionary(dictionary, file + " (as dictionary.json)", problems);
    return problems.empty() ? std::optional(std::move(out)) : std::nullopt;
}

} // namespace turnstone
