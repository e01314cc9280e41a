#include "protocol/xtce/parameter_types.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <map>

#include "protocol/text/ucum.hpp"

namespace turnstone {

namespace {

std::optional<double> real(const std::optional<std::string>& text) {
    double value = 0;
    if (!text) return std::nullopt;
    const auto [end, error] = std::from_chars(text->data(), text->data() + text->size(), value);
    return error == std::errc{} && end == text->data() + text->size() && std::isfinite(value) ? std::optional(value)
                                                                                              : std::nullopt;
}

std::optional<std::uint32_t> fixed_value(const XmlElement* element) {
    const XmlElement* const fixed = element == nullptr ? nullptr : element->child("FixedValue");
    const auto value = fixed == nullptr ? std::nullopt : xtce_integer(fixed->text());
    return value && *value >= 0 && *value <= 1'000'000 ? std::optional(static_cast<std::uint32_t>(*value))
                                                       : std::nullopt;
}

bool is_calibrated(const XmlElement& type) {
    return std::ranges::any_of(
        std::array{"IntegerDataEncoding", "FloatDataEncoding"},
        [&](const char* name) {
            const XmlElement* const encoding = type.child(name);
            return encoding != nullptr && encoding->child("DefaultCalibrator") != nullptr;
        });
}

bool is_little(const XmlElement& encoding) {
    return encoding.attribute("byteOrder", "") == "leastSignificantByteFirst";
}

} // namespace

std::optional<std::int64_t> xtce_integer(const std::string& text) {
    const bool is_hex = text.starts_with("0x") || text.starts_with("0X");
    const char* const begin = text.data() + (is_hex ? 2 : text.starts_with('+') ? 1 : 0);
    const char* const last = text.data() + text.size();
    std::int64_t value = 0;
    const auto [end, error] = std::from_chars(begin, last, value, is_hex ? 16 : 10);
    return error == std::errc{} && end == last && begin != last ? std::optional(value) : std::nullopt;
}

std::optional<XtceField> ParameterTypes::number(const XmlElement& type, const XmlElement& encoding,
                                                std::string& why) const {
    const auto bits =
        xtce_integer(encoding.attribute("sizeInBits", encoding.name() == "IntegerDataEncoding" ? "8" : "32"));
    if (encoding.attribute("bitOrder", "mostSignificantBitFirst") != "mostSignificantBitFirst") {
        why = "bits are sent least significant first";
        return std::nullopt;
    }
    XtceField out;
    if (encoding.name() == "FloatDataEncoding") {
        const std::string coding = encoding.attribute("encoding", "IEEE754_1985");
        if (coding.starts_with("IEEE754") && (bits == 16 || bits == 32 || bits == 64))
            out.json["type"] = "f" + std::to_string(*bits);
        else if ((coding == "MIL1750A" || coding == "MILSTD_1750A") && (bits == 32 || bits == 48))
            out.json["type"] = "f" + std::to_string(*bits) + "_1750a";
        else
            why = "a floating point number of " + coding;
    } else {
        struct Coding {
            const char* xtce;
            char letter;
            const char* ours;
        };
        constexpr std::array<Coding, 7> kCodings{{{"unsigned", 'u', nullptr},
                                                  {"twosComplement", 'i', nullptr},
                                                  {"twosCompliment", 'i', nullptr}, // of 1.0 and 1.1
                                                  {"signMagnitude", 'i', "sign_magnitude"},
                                                  {"onesComplement", 'i', "ones_complement"},
                                                  {"BCD", 'u', "bcd"},
                                                  {"packedBCD", 'u', "bcd"}}};
        const std::string coding = encoding.attribute("encoding", "unsigned");
        const auto found = std::ranges::find_if(kCodings, [&](const Coding& each) { return coding == each.xtce; });
        if (found == kCodings.end())
            why = "an integer of " + coding;
        else if (!bits || *bits < (found->letter == 'i' ? 2 : 1) || *bits > 64)
            why = "an integer of that many bits";
        else {
            out.json["type"] = found->letter + std::to_string(*bits);
            if (found->ours != nullptr) out.json["coding"] = found->ours;
            out.is_integer = true;
        }
    }
    if (!out.json.contains("type")) return std::nullopt;
    out.bits = static_cast<std::uint32_t>(*bits);
    if (is_little(encoding) && *bits > 8) {
        out.json["byte_order"] = "little";
        out.needs_octets = true;
        if (*bits % 8 != 0) why = "a little-endian number that is not whole octets";
        if (*bits % 8 != 0) return std::nullopt;
    }
    add_meaning(type, encoding, out);
    add_limits(type, out);
    return out;
}

void ParameterTypes::add_meaning(const XmlElement& type, const XmlElement& encoding, XtceField& field) const {
    nlohmann::json words = nlohmann::json::object();
    if (const XmlElement* const list = type.child("EnumerationList"))
        for (const XmlElement* const each : list->children("Enumeration")) {
            const std::string least = each->attribute("value", ""), greatest = each->attribute("maxValue", "");
            words[greatest.empty() || greatest == least ? least : least + ".." + greatest] =
                each->attribute("label", "");
        }
    if (type.name() == "BooleanParameterType")
        words = {{"0", type.attribute("zeroStringValue", "False")}, {"1", type.attribute("oneStringValue", "True")}};
    if (!words.empty()) field.json["enumeration"] = words;

    const XmlElement* const calibrator = encoding.child("DefaultCalibrator");
    if (calibrator == nullptr) return;
    if (const XmlElement* const polynomial = calibrator->child("PolynomialCalibrator")) {
        constexpr std::int64_t kDegreeMost = 15;
        std::vector<double> coefficients;
        for (const XmlElement* const term : polynomial->children("Term")) {
            const auto exponent = xtce_integer(term->attribute("exponent", ""));
            const auto coefficient = real(term->attribute("coefficient"));
            if (!exponent || !coefficient || *exponent < 0 || *exponent > kDegreeMost) {
                leave_out(*term, "Term", "is not a power up to 15; the raw value is carried");
                return;
            }
            coefficients.resize(std::max(coefficients.size(), static_cast<std::size_t>(*exponent) + 1));
            coefficients[static_cast<std::size_t>(*exponent)] += *coefficient;
        }
        if (coefficients.empty()) return;
        coefficients.resize(std::max<std::size_t>(coefficients.size(), 2));
        if (coefficients.size() == 2)
            field.json["calibration"] = {{"linear", {{"gain", coefficients[1]}, {"offset", coefficients[0]}}}};
        else
            field.json["calibration"] = {{"polynomial", coefficients}};
    } else if (const XmlElement* const spline = calibrator->child("SplineCalibrator")) {
        if (spline->attribute("order", "1") != "1") {
            leave_out(*spline, "SplineCalibrator", "is not linear between its points; the raw value is carried");
            return;
        }
        std::map<double, double> points;
        for (const XmlElement* const point : spline->children("SplinePoint")) {
            const auto raw = real(point->attribute("raw")), calibrated = real(point->attribute("calibrated"));
            if (raw && calibrated) points.emplace(*raw, *calibrated);
        }
        if (spline->attribute("extrapolate", "false") != "true")
            leave_out(*spline, "extrapolate=\"false\"", "beyond the points the outer segments are extended");
        nlohmann::json table = nlohmann::json::array();
        for (const auto& [raw, calibrated] : points) table.push_back({raw, calibrated});
        if (table.size() >= 2) field.json["calibration"] = {{"table", table}};
    } else {
        leave_out(*calibrator, "DefaultCalibrator", "is neither polynomial nor spline; the raw value is carried");
    }
}

void ParameterTypes::add_limits(const XmlElement& type, XtceField& field) const {
    const XmlElement* const range = type.child("ValidRange");
    if (range != nullptr) {
        const auto least = real(range->attribute("minInclusive")), greatest = real(range->attribute("maxInclusive"));
        if (least && greatest && range->attribute("validRangeAppliesToCalibrated", "true") == "true")
            field.json["valid_range"] = {*least, *greatest};
        else
            leave_out(*range, "ValidRange", "has not both inclusive ends of calibrated values");
    }
    const XmlElement* const alarm = type.child("DefaultAlarm");
    const XmlElement* const ranges = alarm == nullptr ? nullptr : alarm->child("StaticAlarmRanges");
    if (ranges == nullptr) return;
    constexpr std::array<std::pair<const char*, const char*>, 3> kLevels{
        {{"WatchRange", "advisory"}, {"WarningRange", "caution"}, {"CriticalRange", "warning"}}};
    nlohmann::json below = nlohmann::json::object(), above = nlohmann::json::object();
    for (const auto& [name, level] : kLevels) {
        const XmlElement* const each = ranges->child(name);
        if (each == nullptr) continue;
        if (const auto least = real(each->attribute("minInclusive"))) below[level] = *least;
        if (const auto greatest = real(each->attribute("maxInclusive"))) above[level] = *greatest;
    }
    nlohmann::json alerts = nlohmann::json::array();
    if (!below.empty()) alerts.push_back({{"below", below}});
    if (!above.empty()) alerts.push_back({{"above", above}});
    if (!alerts.empty()) field.json["alerts"] = alerts;
}

std::optional<nlohmann::json> ParameterTypes::extent_of(const XmlElement& dynamic, const std::string& system, int unit,
                                                        const NameOf& name_of, std::string& why) const {
    const XmlElement* const reference = dynamic.child("ParameterInstanceRef");
    const XtceItem* const parameter =
        reference == nullptr ? nullptr
                             : systems_->find(XtceKind::parameter, system, reference->attribute("parameterRef", ""));
    const auto name = parameter == nullptr ? std::nullopt : name_of(*parameter);
    why = "a size told by something else than an integer before it in the packet";
    if (!name) return std::nullopt;
    const XtceItem* const type =
        systems_->find(XtceKind::type, parameter->system, parameter->element->attribute("parameterTypeRef", ""));
    why = "a size told by the calibrated value of " + *name +
          "; write it on the raw one, with useCalibratedValue=\"false\"";
    if (reference->attribute("useCalibratedValue", "true") == "true" && type != nullptr &&
        is_calibrated(*type->element))
        return std::nullopt;
    double slope = 1, intercept = 0;
    if (const XmlElement* const linear = dynamic.child("LinearAdjustment")) {
        slope = real(linear->attribute("slope")).value_or(0);
        intercept = real(linear->attribute("intercept")).value_or(0);
    }
    slope /= unit;
    intercept /= unit;
    why = "a size that is not whole octets or elements";
    if (slope < 1 || slope > 65536 || slope != std::floor(slope) || intercept != std::floor(intercept))
        return std::nullopt;
    nlohmann::json out = {{"field", *name}};
    if (slope != 1) out["times"] = static_cast<int>(slope);
    if (intercept != 0) out["plus"] = static_cast<int>(intercept);
    return out;
}

std::optional<XtceField> ParameterTypes::text(const XtceItem& type, const XmlElement& encoding, const NameOf& name_of,
                                              std::string& why) const {
    XtceField out;
    out.json["type"] = "text";
    out.needs_octets = true;
    const std::string coding = encoding.attribute("encoding", "UTF-8");
    if (coding != "UTF-8") out.json["encoding"] = coding;
    const XmlElement* const size = encoding.child("SizeInBits");
    const XmlElement* const variable = encoding.child("Variable");
    if (variable != nullptr) (void)variable->attribute("maxSizeInBits"); // a packet's end is the greatest size here
    const auto bits = fixed_value(size == nullptr ? nullptr : size->child("Fixed"));
    const XmlElement* const end = size != nullptr       ? size->child("TerminationChar")
                                  : variable != nullptr ? variable->child("TerminationChar")
                                                        : nullptr;
    if (end != nullptr) out.json["terminator"] = end->text();
    if (bits && *bits % 8 == 0 && *bits > 0) {
        out.json["octets"] = *bits / 8;
        out.bits = *bits;
        if (end == nullptr) out.json["terminator"] = "none";
        return out;
    }
    out.bits = std::nullopt;
    if (const XmlElement* const dynamic = variable == nullptr ? nullptr : variable->child("DynamicValue")) {
        auto octets = extent_of(*dynamic, type.system, 8, name_of, why);
        if (!octets) return std::nullopt;
        out.json["octets"] = std::move(*octets);
        if (end == nullptr) out.json["terminator"] = "none";
        return out;
    }
    why = "a text without a fixed, told or terminated size";
    if (end == nullptr) return std::nullopt;
    out.json["octets"] = "to_terminator";
    return out;
}

std::optional<XtceField> ParameterTypes::octets(const XtceItem& type, const XmlElement& encoding, const NameOf& name_of,
                                                std::string& why) const {
    XtceField out;
    out.json["type"] = "octets";
    out.needs_octets = true;
    const XmlElement* const size = encoding.child("SizeInBits");
    const auto bits = fixed_value(size);
    if (bits && *bits % 8 == 0 && *bits > 0) {
        out.json["octets"] = *bits / 8;
        out.bits = *bits;
        return out;
    }
    why = "binary data of no whole octets";
    const XmlElement* const dynamic = size == nullptr ? nullptr : size->child("DynamicValue");
    if (dynamic == nullptr) return std::nullopt;
    auto told = extent_of(*dynamic, type.system, 8, name_of, why);
    if (!told) return std::nullopt;
    out.json["octets"] = std::move(*told);
    out.bits = std::nullopt;
    return out;
}

void ParameterTypes::add_time(const XmlElement& type, XtceField& field) const {
    const XmlElement* const encoding = type.child("Encoding");
    const double scale = real(encoding->attribute("scale", "1")).value_or(0);
    const double offset = real(encoding->attribute("offset", "0")).value_or(0);
    const std::string units = encoding->attribute("units", "seconds");
    const XmlElement* const reference = type.child("ReferenceTime");
    const XmlElement* const epoch = reference == nullptr ? nullptr : reference->child("Epoch");
    const std::uint32_t octets = *field.bits / 8;
    const double inverse = scale > 0 ? 1 / scale : 0;
    const double hz = 1 / std::round(inverse) == scale ? std::round(inverse) : inverse; // 1 / (1 / 49) is not 49
    const bool is_counter = field.is_integer && field.json.at("type").get<std::string>().starts_with('u') &&
                            *field.bits % 8 == 0 && !field.json.contains("calibration") &&
                            !field.json.contains("coding") && offset == 0 && units == "seconds" &&
                            octets <= (scale == 1 ? 7U : 8U) && hz >= 1 && hz == std::floor(hz) && hz <= 1e9;
    if (!is_counter) {
        field.json["unit"] = "s";
        if (scale > 0 && (scale != 1 || offset != 0) && !field.json.contains("calibration"))
            field.json["calibration"] = {{"linear", {{"gain", scale}, {"offset", offset}}}};
        leave_out(type, type.name(), "is not a counter of whole octets; it is carried as a number");
        return;
    }
    nlohmann::json code = {{"format", "counter"}};
    if (scale == 1) {
        code["coarse_octets"] = octets;
    } else {
        code["fine_octets"] = octets;
        code["fine_hz"] = static_cast<std::int64_t>(hz);
    }
    if (field.json.contains("byte_order")) code["byte_order"] = "little";
    if (epoch != nullptr) {
        struct Epoch {
            const char *name, *instant, *scale;
        };
        constexpr std::array<Epoch, 3> kEpochs{{{"UNIX", "1970-01-01T00:00:00Z", "utc"},
                                                {"GPS", "1980-01-06T00:00:00Z", "tai"},
                                                {"TAI", "1958-01-01T00:00:00Z", "tai"}}};
        const auto found = std::ranges::find_if(kEpochs, [&](const Epoch& each) { return epoch->text() == each.name; });
        if (found == kEpochs.end()) {
            leave_out(*epoch, "Epoch " + epoch->text(), "is none of UNIX, GPS, TAI; the time counts from boot");
        } else {
            code["epoch"] = found->instant;
            code["scale"] = found->scale;
        }
    }
    field.json = {{"type", "time"}, {"code", code}};
    field.is_integer = false;
    field.needs_octets = true;
}

std::optional<XtceField> ParameterTypes::plain(const XtceItem& type, const NameOf& name_of, std::string& why) const {
    const XmlElement& element = *type.element;
    const bool is_time = element.name() == "AbsoluteTimeParameterType" || element.name() == "RelativeTimeParameterType";
    const XmlElement* const around = is_time ? element.child("Encoding") : &element;
    for (const char* const of_the_host : {"signed", "sizeInBits"}) (void)element.attribute(of_the_host);
    why = "a type without an encoding";
    if (around == nullptr) return std::nullopt;
    std::optional<XtceField> out;
    for (const char* const name : {"IntegerDataEncoding", "FloatDataEncoding"})
        if (const XmlElement* const encoding = around->child(name)) out = number(element, *encoding, why);
    if (const XmlElement* const encoding = around->child("StringDataEncoding"))
        out = text(type, *encoding, name_of, why);
    if (const XmlElement* const encoding = around->child("BinaryDataEncoding"))
        out = octets(type, *encoding, name_of, why);
    if (!out) return std::nullopt;
    if (is_time && out->bits) add_time(element, *out);
    if (const XmlElement* const set = element.child("UnitSet")) {
        const auto units = set->children("Unit");
        const bool has_number = out->json.at("type") != "text" && out->json.at("type") != "octets";
        for (const XmlElement* const unit : units) {
            if (unit->text().empty()) continue;
            if (units.size() == 1 && has_number && is_ucum_unit(unit->text()))
                out->json["unit"] = unit->text();
            else
                leave_out(*unit, "Unit \"" + unit->text() + "\"", "is not one UCUM code; write it by hand");
        }
    }
    if (out->json.contains("enumeration") && !out->json.contains("calibration")) out->json.erase("unit");
    return out;
}

std::vector<XtceField> ParameterTypes::fields_of(const XtceItem& type, const NameOf& name_of, std::string& why) const {
    const XmlElement& element = *type.element;
    const auto inner = [&](const std::string& reference) {
        const XtceItem* const found = systems_->find(XtceKind::type, type.system, reference);
        auto out = found == nullptr ? std::nullopt : plain(*found, name_of, why);
        if (found == nullptr) why = "the type " + reference + ", which is not there";
        return out;
    };
    std::vector<XtceField> out;
    if (element.name() == "AggregateParameterType") {
        const XmlElement* const list = element.child("MemberList");
        why = "an aggregate without members";
        if (list == nullptr) return {};
        for (const XmlElement* const member : list->children("Member")) {
            auto field = inner(member->attribute("typeRef", ""));
            if (!field) return {};
            field->name = member->attribute("name", "");
            out.push_back(std::move(*field));
        }
        return out;
    }
    if (element.name() == "ArrayParameterType") {
        const XmlElement* const list = element.child("DimensionList");
        const auto dimensions = list == nullptr ? std::vector<const XmlElement*>{} : list->children("Dimension");
        const auto from = dimensions.size() == 1 ? fixed_value(dimensions[0]->child("StartingIndex")) : std::nullopt;
        const auto to = dimensions.size() == 1 ? fixed_value(dimensions[0]->child("EndingIndex")) : std::nullopt;
        auto field = inner(element.attribute("arrayTypeRef", ""));
        if (!field) return {};
        why = "an array without one fixed dimension";
        if (!from || !to || *to < *from || *to - *from >= 1000 || !field->bits) return {};
        const std::uint32_t count = *to - *from + 1;
        if (count > 1) field->json["count"] = count;
        *field->bits *= count;
        field->is_integer = false;
        return {std::move(*field)};
    }
    if (auto field = plain(type, name_of, why)) out.push_back(std::move(*field));
    return out;
}

std::optional<std::int64_t> ParameterTypes::raw_value(const XtceItem& type, const std::string& value,
                                                      bool calibrated) const {
    const XmlElement& element = *type.element;
    if (calibrated) {
        if (const XmlElement* const list = element.child("EnumerationList"))
            for (const XmlElement* const each : list->children("Enumeration"))
                if (each->attribute("label", "") == value) return xtce_integer(each->attribute("value", ""));
        if (element.name() == "BooleanParameterType") {
            if (value == element.attribute("zeroStringValue", "False")) return 0;
            if (value == element.attribute("oneStringValue", "True")) return 1;
        }
        if (is_calibrated(element)) return std::nullopt; // it speaks of another number
    }
    return xtce_integer(value);
}

} // namespace turnstone
