#pragma once
/// A field of a dictionary as a parameter type of XTCE. Inner part of export_xtce().
#include <functional>
#include <optional>
#include <string>

#include "protocol/dictionary/dictionary.hpp"
#include "protocol/xtce/xml_node.hpp"

namespace turnstone {

/// What is not written of a field: what, and why.
using SayNotWritten = std::function<void(const std::string& what, const std::string& why)>;
/// The reference of the parameter under a slot.
using ReferenceOf = std::function<std::string(Slot)>;

/// The type of one element, by the name `name`. Empty: XTCE has nothing for the field, which was said.
[[nodiscard]] std::optional<XmlNode> xtce_type(const Field& field, const std::string& name,
                                               const ReferenceOf& reference_of, const SayNotWritten& say);
/// The type of a time, of which the code has one counter. Empty: it was said.
[[nodiscard]] std::optional<XmlNode> xtce_time_type(const TimeCode& code, const std::string& name,
                                                    const SayNotWritten& say);
/// FixedValue or DynamicValue, each element of the extent being `unit`. False: XTCE cannot say it.
bool add_extent(const Extent& extent, unsigned unit, const ReferenceOf& reference_of, XmlNode& to);

/// The shortest text that reads back as the same number.
[[nodiscard]] std::string xtce_number(double value);

} // namespace turnstone
