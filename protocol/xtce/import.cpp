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
    /// A range that one or two comparisons make.
    struct Bounds {
        std::optional<std::int64_t> least, greatest;
    };
    using Ranges = std::vector<std::pair<std::int64_t, std::int64_t>>;
    /// Of one set of conditions, by the name of what they speak of.
    using Wanted = std::map<std::string, Ranges>;
    bool fail(const std::string& why) {
        if (why_.empty()) why_ = why;
        return false;
    }
    bool add_entries(const XtceItem& container, nlohmann::json& to, std::size_t depth);
    bool add_entry(const XmlElement& entry, const std::string& system, nlohmann::json& to, std::size_t depth);
    bool add_parameter(const XmlElement& entry, const std::string& system, nlohmann::json& to);
    bool move_to(const XmlElement& entry, nlohmann::json& to);
    bool add_field(const XtceItem& parameter, const XtceField& field, nlohmann::json& to);
    bool add_conditions(const XmlElement& criteria, const std::string& system, nlohmann::json& when,
                        nlohmann::json* octets = nullptr);
    bool add_relation(const XmlElement& relation, const std::string& system, std::map<std::string, Bounds>& bounds);
    bool add_all_of(const std::vector<const XmlElement*>& all, const std::string& system, Wanted& wanted);
    bool add_any_of(const XmlElement& any, const std::string& system, Wanted& wanted);
    void advance(std::optional<std::uint32_t> bits);
    std::optional<nlohmann::json> group_of(const XmlElement& entry, const std::string& system);
    std::string unique(const std::string& name);
    /// Of integers so far.
    [[nodiscard]] ParameterTypes::NameOf name_of() {
        return [this](const XtceItem& parameter) {
            const auto found = known_.find(parameter.element);
            if (found == known_.end()) return std::optional<std::string>();
            if (found->second.is_header) of_header_.insert(found->second.name);
            return std::optional(found->second.name);
        };
    }

    const SpaceSystems* systems_;
    const ParameterTypes* types_;
    std::set<const XmlElement*>* parts_;
    std::string why_;
    std::optional<std::uint32_t> bit_ = 0;     ///< where the next entry is; empty: the packet tells
    std::uint32_t bit_of_octet_ = 0;           ///< of the next entry, which is always known
    std::map<const XmlElement*, Known> known_; ///< integers by their parameter
    std::set<std::string> names_;              ///< of the packet, or of the group at hand
    std::set<std::string> all_names_;          ///< of fields, of the groups too
    std::set<std::string> of_header_;          ///< fields of the primary header that something speaks of
    std::size_t fields_ = 0;
    std::optional<std::int64_t> apid_;
    bool has_time_ = false;
    unsigned groups_ = 0; ///< around the entry at hand
};

/// A name that the dictionary would take stays as it is.
std::string name_from(const std::string& name, bool hyphen = false) {
    const auto is_good = [&](char c) {
        return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_' || (hyphen && c == '-');
    };
    const bool is_name = !name.empty() && name[0] >= 'a' && name[0] <= 'z' && std::ranges::all_of(name, is_good);
    return is_name ? name : column_name(name);
}

std::string PacketReader::unique(const std::string& name) {
    std::string base = name_from(name), out = base;
    for (int k = 2; !names_.insert(out).second; ++k) out = base + "_" + std::to_string(k);
    return out;
}

/// Empty: by a number of octets that the packet tells.
void PacketReader::advance(std::optional<std::uint32_t> bits) {
    bit_of_octet_ = (bit_of_octet_ + bits.value_or(0)) % 8;
    bit_ = bit_ && bits ? std::optional(*bit_ + *bits) : std::nullopt;
}

bool PacketReader::move_to(const XmlElement& entry, nlohmann::json& to) {
    const XmlElement* const location = entry.child("LocationInContainerInBits");
    if (location == nullptr) return true;
    const XmlElement* const fixed = location->child("FixedValue");
    const auto offset = fixed == nullptr ? std::nullopt : xtce_integer(fixed->text());
    const std::string from = location->attribute("referenceLocation", "previousEntry");
    if (offset && !bit_ && from == "previousEntry" && *offset >= 0 && *offset <= 500'000) {
        if (*offset > 0) to.push_back({{"spare_bits", *offset}});
        advance(static_cast<std::uint32_t>(*offset));
        return true;
    }
    if (!offset || !bit_ || (from != "previousEntry" && from != "containerStart"))
        return fail("an entry whose place is not fixed");
    const std::int64_t wanted = from == "containerStart" ? *offset : *bit_ + *offset;
    if (wanted < *bit_ || wanted > *bit_ + 500'000) return fail("an entry that lies over the one before it");
    if (wanted > *bit_ && *bit_ >= kHeaderBits) to.push_back({{"spare_bits", wanted - *bit_}});
    advance(static_cast<std::uint32_t>(wanted - *bit_));
    return true;
}

bool PacketReader::add_field(const XtceItem& parameter, const XtceField& field, nlohmann::json& to) {
    if (bit_ && *bit_ < kHeaderBits) {
        if (!field.bits || *bit_ + *field.bits > kHeaderBits)
            return fail("an entry across the end of the primary header");
        const auto header = std::ranges::find_if(
            kHeader, [&](const HeaderField& each) { return each.bit == *bit_ && each.width == *field.bits; });
        if (header != kHeader.end()) known_[parameter.element] = {header->name, true};
        advance(field.bits);
        return true;
    }
    if (field.needs_octets && bit_of_octet_ != 0) return fail("an entry that has to begin at an octet, and does not");
    nlohmann::json out = field.json;
    const std::string name = parameter.element->attribute("name", "");
    if (name.starts_with("padding-") && field.bits && field.name.empty()) { // as export_xtce() names it
        to.push_back({{"spare_bits", *field.bits}});
        advance(field.bits);
        return true;
    }
    out["name"] = unique(field.name.empty() ? name : name + "_" + field.name);
    const std::string description = parameter.element->attribute("shortDescription", "");
    if (!description.empty()) out["description"] = description;
    if (out.at("type") == "time" && !has_time_ && bit_ && groups_ == 0) {
        out["is_packet_time"] = true;
        has_time_ = true;
    }
    if (field.is_integer && field.name.empty()) known_[parameter.element] = {out.at("name").get<std::string>(), false};
    ++fields_;
    all_names_.insert(out.at("name").get<std::string>());
    advance(field.bits);
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
    const std::uint32_t begin = bit_of_octet_;
    const std::set<std::string> around = names_;
    if (!group->is_null()) {
        names_.clear(); // a group is a table of its own
        ++groups_;
    }
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
        if (!bits || *bits < 1 || *bits > 500'000) return fail("a fixed value without a size");
        (void)entry.attribute("binaryValue");
        if (!bit_ || *bit_ >= kHeaderBits) into.push_back({{"spare_bits", *bits}});
        advance(static_cast<std::uint32_t>(*bits));
    } else {
        return fail(entry.name());
    }
    if (group->is_null()) return true;
    if (begin != 0 || bit_of_octet_ != 0) return fail("a repetition or condition of no whole octets");
    names_ = around;
    --groups_;
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

/// A Comparison, or a Condition with a value.
bool PacketReader::add_relation(const XmlElement& relation, const std::string& system,
                                std::map<std::string, Bounds>& bounds) {
    const bool is_comparison = relation.name() == "Comparison";
    const XmlElement* const side = is_comparison ? &relation : relation.child("ParameterInstanceRef");
    const XmlElement* const sign = is_comparison ? nullptr : relation.child("ComparisonOperator");
    const XmlElement* const number = is_comparison ? nullptr : relation.child("Value");
    if (side == nullptr || (!is_comparison && (relation.name() != "Condition" || sign == nullptr || number == nullptr)))
        return fail("conditions other than of a parameter and a value");
    const std::string reference = side->attribute("parameterRef", "");
    const std::string value = is_comparison ? relation.attribute("value", "") : number->text();
    const std::string is = is_comparison ? relation.attribute("comparisonOperator", "==") : sign->text();
    const XtceItem* const parameter = systems_->find(XtceKind::parameter, system, reference);
    const auto known = parameter == nullptr ? known_.end() : known_.find(parameter->element);
    if (known == known_.end()) return fail("a condition on " + reference + ", which is not an integer before it");
    const XtceItem* const type =
        systems_->find(XtceKind::type, parameter->system, parameter->element->attribute("parameterTypeRef", ""));
    const auto raw = type == nullptr
                         ? std::nullopt
                         : types_->raw_value(*type, value, side->attribute("useCalibratedValue", "true") == "true");
    if ((is != "==" && is != ">=" && is != "<=") || !raw)
        return fail("a condition on " + reference +
                    " other than that it equals an integer, or is in a range of them; one on a calibrated value has "
                    "to be written on the raw one, with useCalibratedValue=\"false\"");
    const std::string& name = known->second.name;
    if (known->second.is_header) of_header_.insert(name);
    Bounds& of_name = bounds[name];
    if ((is != "<=" && of_name.least) || (is != ">=" && of_name.greatest))
        return fail("two conditions on " + name + " at once");
    if (is != "<=") of_name.least = raw;
    if (is != ">=") of_name.greatest = raw;
    return true;
}

bool PacketReader::add_any_of(const XmlElement& any, const std::string& system, Wanted& wanted) {
    Wanted out;
    for (const auto& each : any.children()) {
        each->mark_read();
        std::vector<const XmlElement*> all{each.get()};
        if (each->name() == "ANDedConditions") all = each->children("Condition");
        Wanted one;
        if (!add_all_of(all, system, one)) return false;
        if (one.size() != 1) return fail("alternatives that are not of one parameter each");
        Ranges& ranges = out[one.begin()->first];
        ranges.insert(ranges.end(), one.begin()->second.begin(), one.begin()->second.end());
    }
    if (out.size() != 1) return fail("alternatives of several parameters");
    auto& [name, ranges] = *out.begin();
    std::ranges::sort(ranges);
    if (!wanted.emplace(name, std::move(ranges)).second) return fail("two conditions on " + name + " at once");
    return true;
}

bool PacketReader::add_all_of(const std::vector<const XmlElement*>& all, const std::string& system, Wanted& wanted) {
    std::map<std::string, Bounds> bounds;
    for (const XmlElement* const each : all) {
        each->mark_read();
        if (each->name() == "ORedConditions" ? !add_any_of(*each, system, wanted)
                                             : !add_relation(*each, system, bounds))
            return false;
    }
    for (const auto& [name, ends] : bounds)
        if (!ends.least || !ends.greatest || *ends.least > *ends.greatest ||
            !wanted.emplace(name, Ranges{{*ends.least, *ends.greatest}}).second)
            return fail("a condition on " + name + " that is not one value, nor a range with both ends");
    return true;
}

/// `octets` (null: there is none) gets what the length in the primary header has to be.
bool PacketReader::add_conditions(const XmlElement& criteria, const std::string& system, nlohmann::json& when,
                                  nlohmann::json* octets) {
    std::vector<const XmlElement*> all = criteria.children("Comparison");
    if (const XmlElement* const list = criteria.child("ComparisonList"))
        for (const XmlElement* const each : list->children("Comparison")) all.push_back(each);
    if (const XmlElement* const expression = criteria.child("BooleanExpression"))
        for (const auto& each : expression->children()) {
            each->mark_read();
            if (each->name() != "ANDedConditions")
                all.push_back(each.get());
            else
                for (const auto& inner : each->children()) all.push_back(inner.get());
        }
    if (all.empty()) return fail("conditions other than comparisons");
    Wanted wanted;
    if (!add_all_of(all, system, wanted)) return false;
    for (const auto& [name, ranges] : wanted) {
        const auto& [least, greatest] = ranges.front();
        const bool is_one = ranges.size() == 1 && least == greatest;
        const bool is_header = of_header_.contains(name);
        const auto header =
            std::ranges::find_if(kHeader, [&of = name](const HeaderField& each) { return of == each.name; });
        if (is_header && name == "apid") {
            if (!is_one || (apid_ && *apid_ != least)) return fail("a condition on an APID other than that it is one");
            apid_ = least;
            continue;
        }
        if (is_header && name == "packet_data_length" && octets != nullptr && ranges.size() == 1 && least >= 0 &&
            greatest <= 65'535) {
            if (!octets->is_null()) return fail("two conditions on " + name + " at once");
            *octets = nlohmann::json::array({least + 7, greatest + 7});
            continue;
        }
        if (is_header && is_one && header->usual == least) continue;
        nlohmann::json values = nlohmann::json::array();
        for (const auto& [from, to] : ranges)
            values.push_back(from == to ? nlohmann::json(from)
                                        : nlohmann::json(std::to_string(from) + ".." + std::to_string(to)));
        if (values.size() == 1) values = nlohmann::json(values[0]);
        if (when.contains(name) && when[name] != values) return fail("two conditions on " + name + " at once");
        when[name] = std::move(values);
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
    nlohmann::json fields = nlohmann::json::array(), when = nlohmann::json::object(), octets;
    for (auto each = chain.rbegin(); each != chain.rend(); ++each) {
        const XmlElement* const base = each->element->child("BaseContainer");
        const XmlElement* const criteria = base == nullptr ? nullptr : base->child("RestrictionCriteria");
        if (criteria != nullptr && !add_conditions(*criteria, each->system, when, &octets)) return std::nullopt;
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
    for (const std::string& name : of_header_)
        if (all_names_.contains(name)) {
            (void)fail("a condition or size that speaks of the primary header's " + name +
                       ", and a field of that name");
            return std::nullopt;
        }
    nlohmann::json packet = {{"apid", *apid_},
                             {"period_ms", 0},
                             {"secondary_header", {{"fields", nlohmann::json::array()}}},
                             {"fields", std::move(fields)}};
    const std::string description = container.element->attribute("shortDescription", "");
    if (!description.empty()) packet["description"] = description;
    if (!when.empty()) packet["when"] = std::move(when);
    if (!octets.is_null()) packet["octets"] = std::move(octets);
    const XmlElement* const rate = container.element->child("DefaultRateInStream");
    const double hz = rate == nullptr ? 0 : std::strtod(rate->attribute("minimumValue", "0").c_str(), nullptr);
    if (hz >= 1e-4 && hz <= 1e6 && rate->attribute("basis", "perSecond") == "perSecond") packet["period_ms"] = 1e3 / hz;
    return packet;
}

/// Why the dictionary would not take the packet; empty: it would.
std::string mistake_of(const nlohmann::json& packet) {
    std::vector<Problem> problems;
    (void)read_dictionary({{"vehicle", "vehicle"}, {"version", "1"}, {"packets", nlohmann::json::array({packet})}}, "",
                          problems);
    return problems.empty() ? "" : problems.front().pointer + ", which " + problems.front().wrong;
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
        std::string why = reader.why();
        if (packet) {
            packet->emplace("name", "packet");
            why = mistake_of(*packet);
        }
        if (!why.empty()) {
            out.not_carried.resize(notes);
            no_packets.push_back(
                {container.element,
                 {container.element->line(), "SequenceContainer " + name, "is not a packet here, for it has " + why}});
            continue;
        }
        std::string base = name_from(name), unique = base;
        for (int k = 2; !names.insert(unique).second; ++k) unique = base + "_" + std::to_string(k);
        (*packet)["name"] = unique;
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
    const std::string title = root->attribute("shortDescription", "");
    if (header != nullptr) (void)header->attribute("validationStatus");
    add_unread(*root, "", out.not_carried);
    std::ranges::stable_sort(out.not_carried, {}, &NotCarried::line);
    const auto same = [](const NotCarried& a, const NotCarried& b) {
        return a.line == b.line && a.what == b.what && a.why == b.why;
    };
    out.not_carried.erase(std::unique(out.not_carried.begin(), out.not_carried.end(), same), out.not_carried.end());
    const std::string vehicle = name_from(root->attribute("name", ""), true);
    nlohmann::json dictionary = {
        {"vehicle", vehicle.empty() ? "vehicle" : vehicle}, {"version", version}, {"packets", packets}};
    if (!title.empty()) dictionary["title"] = title;
    out.dictionary = dictionary.dump(1) + "\n";
    (void)read_dictionary(dictionary, file + " (as dictionary.json)", problems);
    return problems.empty() ? std::optional(std::move(out)) : std::nullopt;
}

} // namespace turnstone
