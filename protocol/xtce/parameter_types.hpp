#pragma once
/// What XTCE says of a parameter's type, as a field of dictionary.json. Inner part of import_xtce().
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "protocol/xtce/import.hpp"
#include "protocol/xtce/space_systems.hpp"

namespace turnstone {

/// A field, and how much it takes.
struct XtceField {
    nlohmann::json json;                   ///< without a name
    std::string name;                      ///< behind the parameter's: of an aggregate's member; else empty
    std::optional<std::uint32_t> bits = 0; ///< of all its elements; empty: the packet tells
    bool needs_octets = false;             ///< begins on an octet boundary
    bool is_integer = false;               ///< others can be told by its raw value
};

class ParameterTypes {
  public:
    /// The name that an integer before has in the packet; empty: there is none.
    using NameOf = std::function<std::optional<std::string>(const XtceItem& parameter)>;

    ParameterTypes(const SpaceSystems& systems, std::vector<NotCarried>& not_carried)
        : systems_(&systems), not_carried_(&not_carried) {}

    /// The fields that a type makes, one but for aggregates. Empty: `why` says what the dictionary cannot express.
    [[nodiscard]] std::vector<XtceField> fields_of(const XtceItem& type, const NameOf& name_of, std::string& why) const;
    /// The raw value that a comparison speaks of; empty: it is none.
    [[nodiscard]] std::optional<std::int64_t> raw_value(const XtceItem& type, const std::string& value,
                                                        bool calibrated) const;
    /// times * raw + plus of a parameter, from <DynamicValue>; each divided by `unit`, which must divide them.
    [[nodiscard]] std::optional<nlohmann::json> extent_of(const XmlElement& dynamic, const std::string& system,
                                                          int unit, const NameOf& name_of, std::string& why) const;

  private:
    [[nodiscard]] std::optional<XtceField> plain(const XtceItem& type, const NameOf& name_of, std::string& why) const;
    [[nodiscard]] std::optional<XtceField> number(const XmlElement& type, const XmlElement& encoding,
                                                  std::string& why) const;
    [[nodiscard]] std::optional<XtceField> text(const XtceItem& type, const XmlElement& encoding, const NameOf& name_of,
                                                std::string& why) const;
    [[nodiscard]] std::optional<XtceField> octets(const XtceItem& type, const XmlElement& encoding,
                                                  const NameOf& name_of, std::string& why) const;
    void add_time(const XmlElement& type, XtceField& field) const;
    void add_meaning(const XmlElement& type, const XmlElement& encoding, XtceField& field) const;
    void add_limits(const XmlElement& type, XtceField& field) const;
    void leave_out(const XmlElement& element, const std::string& what, const std::string& why) const {
        not_carried_->push_back({element.line(), what, why});
    }

    const SpaceSystems* systems_;
    std::vector<NotCarried>* not_carried_;
};

/// A whole number, decimal or hexadecimal with 0x.
[[nodiscard]] std::optional<std::int64_t> xtce_integer(const std::string& text);

} // namespace turnstone
