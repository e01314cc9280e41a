#include "protocol/xtce/export_types.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

namespace turnstone {

namespace {

constexpr const char* kKeep = "hand over dictionary.json as well where it is needed";

std::string hexadecimal(const std::vector<std::byte>& bytes) {
    constexpr const char* kDigits = "0123456789ABCDEF";
    std::string out;
    for (const std::byte byte : bytes) {
        out += kDigits[std::to_integer<unsigned>(byte) >> 4U];
        out += kDigits[std::to_integer<unsigned>(byte) & 0xFU];
    }
    return out;
}

void add_calibrator(const Calibration& calibration, XmlNode& encoding) {
    const auto polynomial = [&](const std::vector<double>& coefficients) {
        XmlNode& out = encoding.add("DefaultCalibrator").add("PolynomialCalibrator");
        for (std::size_t k = 0; k < coefficients.size(); ++k)
            out.add("Term").set("coefficient", xtce_number(coefficients[k])).set("exponent", std::to_string(k));
    };
    if (const auto* linear = std::get_if<LinearCalibration>(&calibration)) polynomial({linear->offset, linear->gain});
    if (const auto* power = std::get_if<PolynomialCalibration>(&calibration)) polynomial(power->coefficients);
    if (const auto* table = std::get_if<TableCalibration>(&calibration)) {
        XmlNode& out = encoding.add("DefaultCalibrator").add("SplineCalibrator");
        out.set("order", "1").set("extrapolate", "true");
        for (std::size_t k = 0; k < table->raw.size(); ++k)
            out.add("SplinePoint")
                .set("raw", xtce_number(table->raw[k]))
                .set("calibrated", xtce_number(table->engineering[k]));
    }
}

/// Words for values, successive ones of one word together.
void add_words(const Field& field, XmlNode& type) {
    XmlNode& list = type.add("EnumerationList");
    const auto add = [&](RawRange range, const std::string& word) {
        XmlNode& each = list.add("Enumeration").set("value", std::to_string(range.least)).set("label", word);
        if (range.greatest != range.least) each.set("maxValue", std::to_string(range.greatest));
    };
    for (const auto& [range, word] : field.words.ranges) add(range, word);
    for (auto at = field.enumeration.begin(); at != field.enumeration.end();) {
        RawRange range{at->first, at->first};
        const std::string& word = at->second;
        while (++at != field.enumeration.end() && at->first == range.greatest + 1 && at->second == word)
            range.greatest = at->first;
        add(range, word);
    }
}

/// What of an alert decides when it counts, and has no place in an alarm: it would be raised where it must not.
bool is_in_a_context(const ChannelAlert& alert) {
    return !alert.phases.empty() || !alert.only_while.channel.empty();
}

void add_alarms(const Field& field, bool is_number, XmlNode& type, const SayNotWritten& say) {
    std::array<const ChannelAlert*, 2> ends{}; // below, above
    bool has_more = false;
    for (const ChannelAlert& alert : field.alerts) {
        const bool is_end = alert.cause == AlertCause::below || alert.cause == AlertCause::above;
        const std::string cause = std::string(word(alert.cause));
        if (!is_number || !is_end || is_in_a_context(alert) || ends[alert.cause == AlertCause::above] != nullptr) {
            say("alert \"" + cause + "\"", std::string("only one limit each way of a number, at all times, is written "
                                                       "as an alarm; ") +
                                               kKeep);
            continue;
        }
        ends[alert.cause == AlertCause::above] = &alert;
        has_more = has_more || alert.deadband != 0 || alert.on_delay_s || alert.off_delay_s || alert.is_latching ||
                   !alert.advice.empty();
    }
    if (has_more)
        say("deadband, delays, latching and advice of its alerts",
            std::string("alarms of this document have limits only; ") + kKeep);
    if (ends[0] == nullptr && ends[1] == nullptr) return;
    XmlNode& ranges = type.add("DefaultAlarm").add("StaticAlarmRanges");
    constexpr std::array<const char*, 3> kRanges{"WatchRange", "WarningRange", "CriticalRange"}; // by urgency
    for (std::size_t level = 0; level < kRanges.size(); ++level) {
        const auto limit = [&](const ChannelAlert* alert) {
            return alert == nullptr ? std::optional<double>() : alert->limits[level];
        };
        const auto least = limit(ends[0]), greatest = limit(ends[1]);
        if (!least && !greatest) continue;
        XmlNode& range = ranges.add(kRanges[level]);
        if (least) range.set("minInclusive", xtce_number(*least));
        if (greatest) range.set("maxInclusive", xtce_number(*greatest));
    }
}

/// Empty: XTCE has no name for the coding of its bits.
std::optional<XmlNode> number_encoding(const Field& field) {
    const bool is_integer = field.type == FieldType::unsigned_integer || field.type == FieldType::signed_integer;
    XmlNode out{.name = is_integer ? "IntegerDataEncoding" : "FloatDataEncoding"};
    out.set("sizeInBits", std::to_string(field.bit_width));
    if (field.byte_order == ByteOrder::little && field.bit_width > 8) out.set("byteOrder", "leastSignificantByteFirst");
    if (field.type == FieldType::mil_std_1750a) out.set("encoding", "MILSTD_1750A");
    if (!is_integer) return out;
    switch (field.coding) {
    case IntegerCoding::plain:
        out.set("encoding", field.type == FieldType::signed_integer ? "twosComplement" : "unsigned");
        return out;
    case IntegerCoding::sign_magnitude: out.set("encoding", "signMagnitude"); return out;
    case IntegerCoding::ones_complement: out.set("encoding", "onesComplement"); return out;
    case IntegerCoding::bcd: out.set("encoding", "packedBCD"); return out;
    case IntegerCoding::offset_binary: return std::nullopt;
    }
    return std::nullopt;
}

std::optional<XmlNode> number_type(const Field& field, const std::string& name, const SayNotWritten& say) {
    auto encoding = number_encoding(field);
    if (!encoding) {
        say("field", "XTCE has no offset binary; its bits are skipped");
        return std::nullopt;
    }
    const bool is_integer = encoding->name == "IntegerDataEncoding";
    const bool is_calibrated = !std::holds_alternative<std::monostate>(field.calibration);
    const bool has_words = !field.enumeration.empty() || !field.words.empty();
    if (field.calibration_slot != kNoSlot)
        say("calibration by another field", std::string("the raw value is written, without its unit; ") + kKeep);
    if (has_words && is_calibrated)
        say("enumeration", "a calibrated number has no words in XTCE; the number is written");
    if (has_words && !is_calibrated && field.words.otherwise)
        say("enumeration \"else\"", "a list of words has no word for all other values in XTCE");
    const bool is_list = has_words && !is_calibrated && (!field.enumeration.empty() || !field.words.ranges.empty());
    const auto whole = [](double value) { return value == std::floor(value) && std::abs(value) < 1e15; };
    const bool is_whole = !field.valid_range || (whole(field.valid_range->first) && whole(field.valid_range->second));
    XmlNode type{.name = is_list                                    ? "EnumeratedParameterType"
                         : is_integer && !is_calibrated && is_whole ? "IntegerParameterType"
                                                                    : "FloatParameterType"};
    type.set("name", name);
    if (type.name == "IntegerParameterType")
        type.set("sizeInBits", std::to_string(field.bit_width))
            .set("signed", field.type == FieldType::signed_integer ? "true" : "false");
    if (type.name == "FloatParameterType") type.set("sizeInBits", "64");
    XmlNode& units = type.add("UnitSet");
    if (field.unit != "1" && !field.unit.empty() && field.calibration_slot == kNoSlot) {
        if (is_list)
            say("unit", "what has words has no unit");
        else
            units.add("Unit", field.unit);
    }
    add_calibrator(field.calibration, *encoding);
    type.children.push_back(std::move(*encoding));
    if (is_list) add_words(field, type);
    if (field.valid_range && is_list)
        say("valid_range", "an enumerated type has none in XTCE");
    else if (field.valid_range && field.calibration_slot != kNoSlot)
        say("valid_range", "it is of the calibrated value, which is not written");
    else if (field.valid_range) {
        const auto text = [&](double value) {
            return type.name == "IntegerParameterType" ? std::to_string(static_cast<std::int64_t>(value))
                                                       : xtce_number(value);
        };
        type.add("ValidRange")
            .set("minInclusive", text(field.valid_range->first))
            .set("maxInclusive", text(field.valid_range->second));
    }
    add_alarms(field, !is_list && field.calibration_slot == kNoSlot, type, say);
    return type;
}

std::optional<XmlNode> text_type(const Field& field, const std::string& name, const ReferenceOf& reference_of,
                                 const SayNotWritten& say) {
    constexpr std::array<const char*, 5> kEncodings{"UTF-8", "US-ASCII", "ISO-8859-1", "UTF-16BE", "UTF-16LE"};
    const bool is_text = field.type == FieldType::text;
    XmlNode type{.name = is_text ? "StringParameterType" : "BinaryParameterType"};
    type.set("name", name).add("UnitSet");
    XmlNode& encoding = type.add(is_text ? "StringDataEncoding" : "BinaryDataEncoding");
    add_alarms(field, false, type, say);
    if (!is_text) {
        if (!field.terminator.empty()) say("terminator", "binary data have none in XTCE; all octets are written");
        if (add_extent(field.extent, 8, reference_of, encoding.add("SizeInBits"))) return type;
    } else {
        encoding.set("encoding", kEncodings[static_cast<std::size_t>(field.encoding)]);
        const bool ends = field.extent.by == Extent::By::terminator;
        XmlNode& size = encoding.add(field.extent.is_fixed() ? "SizeInBits" : "Variable");
        if (!field.extent.is_fixed()) size.set("maxSizeInBits", "524288"); // of a whole packet
        const bool is_said =
            ends || add_extent(field.extent, 8, reference_of, field.extent.is_fixed() ? size.add("Fixed") : size);
        if (!field.terminator.empty()) size.add("TerminationChar", hexadecimal(field.terminator));
        if (is_said) return type;
    }
    say("field", "a size up to the packet's end cannot be written");
    return std::nullopt;
}

} // namespace

std::string xtce_number(double value) {
    std::array<char, 32> text{};
    return {text.data(), std::to_chars(text.data(), text.data() + text.size(), value).ptr};
}

bool add_extent(const Extent& extent, unsigned unit, const ReferenceOf& reference_of, XmlNode& to) {
    if (extent.by == Extent::By::number) to.add("FixedValue", std::to_string(extent.number * unit));
    if (extent.by == Extent::By::field) {
        XmlNode& dynamic = to.add("DynamicValue");
        dynamic.add("ParameterInstanceRef")
            .set("parameterRef", reference_of(extent.slot))
            .set("useCalibratedValue", "false");
        const std::int64_t slope = std::int64_t{extent.times} * unit, intercept = std::int64_t{extent.plus} * unit;
        if (slope != 1 || intercept != 0)
            dynamic.add("LinearAdjustment")
                .set("slope", std::to_string(slope))
                .set("intercept", std::to_string(intercept));
    }
    return extent.by == Extent::By::number || extent.by == Extent::By::field;
}

std::optional<XmlNode> xtce_time_type(const TimeCode& code, const std::string& name, const SayNotWritten& say) {
    const bool is_cuc = code.kind == TimeCode::Kind::cuc, is_counter = code.kind == TimeCode::Kind::counter;
    const unsigned bytes = code.coarse_bytes + code.fine_bytes;
    const bool is_one = is_cuc ? code.fine_bytes <= 3 : code.coarse_bytes == 0 || code.fine_bytes == 0;
    if ((!is_cuc && !is_counter) || !is_one || bytes == 0 || bytes > 8 || code.p_field_bytes != 0) {
        say("time", "a time is one counter of up to 8 octets in XTCE, with at most 3 of binary fractions and no "
                    "P-field; its bits are skipped");
        return std::nullopt;
    }
    constexpr std::int64_t kSecond = 1'000'000'000;
    struct Epoch {
        const char* name;
        std::int64_t utc_ns;
        TimeScale scale;
    };
    constexpr std::array<Epoch, 3> kEpochs{{{"UNIX", 0, TimeScale::utc},
                                            {"GPS", 315'964'800 * kSecond, TimeScale::tai},
                                            {"TAI", -378'691'200 * kSecond, TimeScale::tai}}};
    const auto epoch = std::ranges::find_if(
        kEpochs, [&](const Epoch& each) { return code.epoch_utc_ns == each.utc_ns && code.scale == each.scale; });
    if (code.epoch_utc_ns && epoch == kEpochs.end()) {
        say("time", "its epoch is none of UNIX (UTC), GPS and TAI; its bits are skipped");
        return std::nullopt;
    }
    XmlNode type{.name = code.epoch_utc_ns ? "AbsoluteTimeParameterType" : "RelativeTimeParameterType"};
    type.set("name", name);
    XmlNode& around = type.add("Encoding").set("units", "seconds");
    const double hz = is_cuc                 ? std::exp2(8.0 * code.fine_bytes)
                      : code.fine_bytes == 0 ? 1.0
                                             : static_cast<double>(code.fine_hz);
    if (hz != 1) around.set("scale", xtce_number(1 / hz));
    XmlNode& encoding = around.add("IntegerDataEncoding").set("sizeInBits", std::to_string(8 * bytes));
    if (code.is_little && bytes > 1) encoding.set("byteOrder", "leastSignificantByteFirst");
    if (code.epoch_utc_ns) type.add("ReferenceTime").add("Epoch", epoch->name);
    return type;
}

std::optional<XmlNode> xtce_type(const Field& field, const std::string& name, const ReferenceOf& reference_of,
                                 const SayNotWritten& say) {
    if (field.is_lsb_first) {
        say("field", "bits counted from the least significant are not written; its bits are skipped");
        return std::nullopt;
    }
    if (field.type == FieldType::time) return xtce_time_type(field.time, name, say);
    return field.is_text() ? text_type(field, name, reference_of, say) : number_type(field, name, say);
}

} // namespace turnstone
