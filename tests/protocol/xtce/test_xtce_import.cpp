// XTCE documents as dictionaries. The documents are written here after CCSDS 660.0-B-2 (XTCE 1.2; its element names and
// defaults from memory); what a packet then says is by hand from the bits.
#include <catch2/catch.hpp>

#include <cmath>

#include <nlohmann/json.hpp>

#include "protocol/decode/decoder.hpp"
#include "protocol/xtce/import.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

/// A primary header as a container, and what `types`, `parameters` and `containers` add.
std::string document(const std::string& types, const std::string& parameters, const std::string& containers) {
    const auto integer = [](const std::string& name, int bits) {
        return "<IntegerParameterType name=\"" + name + "\" signed=\"false\"><IntegerDataEncoding sizeInBits=\"" +
               std::to_string(bits) + "\"/></IntegerParameterType>\n";
    };
    std::string header_types, header_parameters, entries;
    for (const auto& [name, bits] : std::vector<std::pair<std::string, int>>{{"Version", 3},
                                                                             {"Type", 1},
                                                                             {"SecHdr", 1},
                                                                             {"ApId", 11},
                                                                             {"SeqFlags", 2},
                                                                             {"SeqCount", 14},
                                                                             {"Length", 16}}) {
        header_types += integer(name + "Type", bits);
        header_parameters += "<Parameter name=\"" + name + "\" parameterTypeRef=\"" + name + "Type\"/>\n";
        entries += "<ParameterRefEntry parameterRef=\"" + name + "\"/>";
    }
    return "<?xml version=\"1.0\"?>\n<xtce:SpaceSystem name=\"Demo Craft\" "
           "xmlns:xtce=\"http://www.omg.org/spec/XTCE/20180204\">\n"
           "<xtce:Header version=\"3\"/><xtce:TelemetryMetaData><ParameterTypeSet>\n" +
           header_types + types + "</ParameterTypeSet>\n<ParameterSet>\n" + header_parameters + parameters +
           "</ParameterSet>\n<ContainerSet><SequenceContainer name=\"Packet\" abstract=\"true\"><EntryList>" + entries +
           "</EntryList></SequenceContainer>\n" + containers +
           "</ContainerSet></xtce:TelemetryMetaData></xtce:SpaceSystem>\n";
}

std::string container(const std::string& name, int apid, const std::string& entries, const std::string& more = "") {
    return "<SequenceContainer name=\"" + name + "\"><EntryList>" + entries +
           "</EntryList><BaseContainer containerRef=\"Packet\"><RestrictionCriteria><ComparisonList>"
           "<Comparison parameterRef=\"ApId\" value=\"" +
           std::to_string(apid) + "\"/>" + more +
           "</ComparisonList></RestrictionCriteria></BaseContainer></SequenceContainer>\n";
}

std::string entry(const std::string& name) {
    return "<ParameterRefEntry parameterRef=\"" + name + "\"/>";
}

XtceImport imported(const std::string& xml) {
    std::vector<Problem> problems;
    auto made = import_xtce(xml, "demo.xml", problems);
    INFO(to_string(problems));
    REQUIRE(made);
    return *made;
}

std::string not_carried(const XtceImport& made) {
    std::string out;
    for (const NotCarried& each : made.not_carried) out += each.what + ": " + each.why + "\n";
    return out;
}

/// The numbers and texts of one packet, by name.
std::map<std::string, std::string> decoded(const XtceImport& made, const std::string& hex) {
    const Dictionary dictionary = dictionary_of(nlohmann::json::parse(made.dictionary));
    Decoder decoder(dictionary);
    const DecodedPacket packet = decoder.decode(from_hex(hex));
    std::map<std::string, std::string> out{{"", std::string(word(packet.verdict))}};
    for (const DecodedRow& row : packet.rows) {
        const ChannelTable& table = dictionary.tables[row.table];
        for (const Channel& channel : table.channels) {
            char number[32] = "";
            if (!channel.is_text()) std::snprintf(number, sizeof number, "%.9g", row.numbers[channel.place]);
            out[table.name + "." + channel.name] +=
                channel.is_text() ? std::string(row.texts[channel.place - table.number_count]) : number;
        }
    }
    return out;
}

const char* const kTypes = R"(
<FloatParameterType name="Volts"><UnitSet><Unit>V</Unit></UnitSet>
  <IntegerDataEncoding sizeInBits="12"><DefaultCalibrator><PolynomialCalibrator><Term coefficient="0.5" exponent="0"/>
    <Term coefficient="0.01" exponent="1"/></PolynomialCalibrator></DefaultCalibrator></IntegerDataEncoding>
  <DefaultAlarm><StaticAlarmRanges><WarningRange minInclusive="7"/><CriticalRange minInclusive="6.5"/></StaticAlarmRanges></DefaultAlarm>
  <ValidRange minInclusive="0" maxInclusive="50"/></FloatParameterType>
<EnumeratedParameterType name="Mode"><UnitSet/><IntegerDataEncoding sizeInBits="4"/>
  <EnumerationList><Enumeration value="0" label="OFF"/><Enumeration value="1" maxValue="3" label="WARM"/></EnumerationList></EnumeratedParameterType>
<IntegerParameterType name="Signed"><IntegerDataEncoding sizeInBits="16" encoding="twosComplement" byteOrder="leastSignificantByteFirst"/></IntegerParameterType>
<FloatParameterType name="Single"><FloatDataEncoding sizeInBits="32"/></FloatParameterType>
<FloatParameterType name="Curve"><IntegerDataEncoding sizeInBits="8"><DefaultCalibrator><SplineCalibrator extrapolate="true">
  <SplinePoint raw="0" calibrated="10"/><SplinePoint raw="10" calibrated="30"/></SplineCalibrator></DefaultCalibrator></IntegerDataEncoding></FloatParameterType>
<StringParameterType name="Tag"><StringDataEncoding encoding="US-ASCII"><SizeInBits><Fixed><FixedValue>32</FixedValue></Fixed></SizeInBits></StringDataEncoding></StringParameterType>
<BinaryParameterType name="Blob"><BinaryDataEncoding><SizeInBits><FixedValue>16</FixedValue></SizeInBits></BinaryDataEncoding></BinaryParameterType>
<BooleanParameterType name="Flag" zeroStringValue="no" oneStringValue="yes"><IntegerDataEncoding sizeInBits="1"/></BooleanParameterType>
<AbsoluteTimeParameterType name="Stamp"><Encoding units="seconds"><IntegerDataEncoding sizeInBits="32"/></Encoding><ReferenceTime><Epoch>UNIX</Epoch></ReferenceTime></AbsoluteTimeParameterType>
<IntegerParameterType name="Octet"><IntegerDataEncoding/></IntegerParameterType>
<AggregateParameterType name="Pair"><MemberList><Member name="left" typeRef="Octet"/><Member name="right" typeRef="Octet"/></MemberList></AggregateParameterType>
<ArrayParameterType name="Three" arrayTypeRef="Octet"><DimensionList><Dimension><StartingIndex><FixedValue>0</FixedValue></StartingIndex>
  <EndingIndex><FixedValue>2</FixedValue></EndingIndex></Dimension></DimensionList></ArrayParameterType>
)";

std::string parameters() {
    std::string out;
    for (const char* type :
         {"Volts", "Mode", "Signed", "Single", "Curve", "Tag", "Blob", "Flag", "Stamp", "Octet", "Pair", "Three"})
        out += "<Parameter name=\"the" + std::string(type) + "\" parameterTypeRef=\"" + type + "\"/>\n";
    return out;
}

} // namespace

TEST_CASE("each kind of parameter that the dictionary can express comes out of a packet as XTCE says", "[xtce]") {
    const XtceImport made = imported(document(
        kTypes, parameters(),
        container("Power", 33,
                  entry("theVolts") + entry("theMode") + entry("theSigned") + entry("theSingle") + entry("theCurve") +
                      entry("theTag") + entry("theBlob")) +
            container(
                "Other", 34,
                entry("theStamp") + entry("theFlag") +
                    "<ParameterRefEntry parameterRef=\"theOctet\"><LocationInContainerInBits><FixedValue>7</FixedValue>"
                    "</LocationInContainerInBits></ParameterRefEntry>" +
                    entry("thePair") + entry("theThree"))));
    CHECK(made.packets == 2);
    // 0x384 is 900: 9.5 V; mode 2; 0xFFFE least significant first: -2; 1.5; 5: 20.
    const auto power = decoded(made, "0021C000000E"
                                     "3842"
                                     "FEFF"
                                     "3FC00000"
                                     "05"
                                     "61620000"
                                     "BEEF");
    CHECK(power.at("power.thevolts") == "9.5");
    CHECK(power.at("power.themode") == "2");
    CHECK(power.at("power.thesigned") == "-2");
    CHECK(power.at("power.thesingle") == "1.5");
    CHECK(power.at("power.thecurve") == "20");
    CHECK(power.at("power.thetag").starts_with("ab"));
    CHECK(power.at("power.theblob") == "BEEF");
    const auto other = decoded(made, "0022C000000A"
                                     "65000000"
                                     "80"
                                     "07"
                                     "0102"
                                     "030405");
    CHECK(other.at("other.thestamp") == "1.69449882e+09");
    CHECK(other.at("other.theflag") == "1");
    CHECK(other.at("other.theoctet") == "7");
    CHECK(other.at("other.thepair_left") == "1");
    CHECK(other.at("other.thepair_right") == "2");
    CHECK(other.at("other.thethree_2") == "5");
    const auto json = nlohmann::json::parse(made.dictionary);
    CHECK(json.at("vehicle") == "demo_craft");
    CHECK(json.at("version") == "3");
    const auto& volts = json.at("packets")[0].at("fields")[0];
    CHECK(volts.at("unit") == "V");
    CHECK(volts.at("valid_range") == nlohmann::json::array({0, 50}));
    CHECK(volts.at("alerts")[0].at("below") == nlohmann::json({{"caution", 7}, {"warning", 6.5}}));
    CHECK(json.at("packets")[0].at("fields")[1].at("enumeration") == nlohmann::json({{"0", "OFF"}, {"1..3", "WARM"}}));
}

TEST_CASE("conditions tell packets of one APID apart, repeat entries and include them", "[xtce]") {
    const XtceImport made = imported(document(
        kTypes, parameters(),
        container("Any", 40, entry("theOctet")) + "<SequenceContainer name=\"Sorted\" abstract=\"true\"><EntryList>" +
            entry("theMode") +
            "<FixedValueEntry binaryValue=\"00\" sizeInBits=\"4\"/></EntryList><BaseContainer "
            "containerRef=\"Packet\"/></SequenceContainer>"
            "<SequenceContainer name=\"Warm\"><EntryList>" +
            entry("theOctet") +
            "<ParameterRefEntry parameterRef=\"theSigned\"><RepeatEntry><Count><DynamicValue><ParameterInstanceRef "
            "parameterRef=\"theOctet\" useCalibratedValue=\"false\"/>"
            "</DynamicValue></Count></RepeatEntry></ParameterRefEntry></EntryList><BaseContainer "
            "containerRef=\"Sorted\"><RestrictionCriteria>"
            "<ComparisonList><Comparison parameterRef=\"ApId\" value=\"40\"/><Comparison parameterRef=\"theMode\" "
            "value=\"WARM\"/></ComparisonList>"
            "</RestrictionCriteria></BaseContainer></SequenceContainer>" +
            container("Part", 41,
                      entry("theOctet") + "<ParameterRefEntry parameterRef=\"theCurve\"><IncludeCondition>"
                                          "<Comparison parameterRef=\"theOctet\" value=\"0x1\" "
                                          "useCalibratedValue=\"false\"/></IncludeCondition></ParameterRefEntry>")));
    CHECK(made.packets == 3);
    const auto warm = decoded(made, "0028C0000005"
                                    "10"
                                    "02"
                                    "0100"
                                    "0200");
    CHECK(warm.at("warm.themode") == "1");
    CHECK(warm.at("warm.thesigned.thesigned") == "12"); // two rows
    CHECK(decoded(made, "0028C0000000"
                        "20")
              .at("any.theoctet") == "32");
    CHECK(decoded(made, "0029C0000001"
                        "01"
                        "0A")
              .at("part.thecurve.thecurve") == "30");
    CHECK_FALSE(decoded(made, "0029C0000000"
                              "02")
                    .contains("part.thecurve.thecurve"));
}

TEST_CASE("what is not carried over is said, each with its line", "[xtce]") {
    const std::string more = R"(
<IntegerParameterType name="Odd"><UnitSet><Unit>furlongs per fortnight</Unit></UnitSet><IntegerDataEncoding sizeInBits="8">
  <DefaultCalibrator><MathOperationCalibrator/></DefaultCalibrator><ContextCalibratorList/></IntegerDataEncoding></IntegerParameterType>
<IntegerParameterType name="Reversed"><IntegerDataEncoding sizeInBits="8" bitOrder="leastSignificantBitFirst"/></IntegerParameterType>
<IntegerParameterType name="Nobody" initialValue="4"><IntegerDataEncoding/></IntegerParameterType>
)";
    const XtceImport made = imported(document(
        kTypes + more,
        parameters() + "<Parameter name=\"theOdd\" parameterTypeRef=\"Odd\"><ParameterProperties "
                       "dataSource=\"telemetered\"/></Parameter>"
                       "<Parameter name=\"theReversed\" parameterTypeRef=\"Reversed\"/>",
        container("Good", 50, entry("theOdd")) + container("Bad", 51, entry("theReversed")) +
            container("Lost", 52, entry("nothing")) +
            container("Choice", 53, entry("theOctet"),
                      "<Comparison parameterRef=\"SeqCount\" comparisonOperator=\"&gt;\" value=\"4\"/>") +
            container("Calibrated", 54,
                      entry("theCurve") +
                          "<ParameterRefEntry parameterRef=\"theOctet\"><IncludeCondition><Comparison "
                          "parameterRef=\"theCurve\" value=\"20\"/></IncludeCondition></ParameterRefEntry>") +
            "<SequenceContainer name=\"Loose\"><EntryList>" + entry("theOctet") + "</EntryList></SequenceContainer>"));
    CHECK(made.packets == 1);
    const std::string said = not_carried(made);
    for (const char* part :
         {"Unit \"furlongs per fortnight\"", "DefaultCalibrator: is neither polynomial nor spline",
          "ContextCalibratorList", "ParameterProperties", "IntegerParameterType Nobody",
          "SequenceContainer Bad: is not a packet here, for it has theReversed: bits are sent",
          "SequenceContainer Lost: is not a packet here, for it has the parameter nothing", "SequenceContainer Choice",
          "SequenceContainer Calibrated: is not a packet here, for it has a condition on theCurve",
          "SequenceContainer Loose", "FloatParameterType Volts"}) {
        INFO(part);
        CHECK_THAT(said, Catch::Contains(part));
    }
    CHECK(std::ranges::is_sorted(made.not_carried, {}, &NotCarried::line));
    CHECK(decoded(made, "0032C0000000"
                        "07")
              .at("good.theodd") == "7");
}

TEST_CASE("what is not XTCE is refused with its line", "[xtce]") {
    struct Case {
        const char* xml;
        const char* says;
    };
    for (const Case& c :
         {Case{"", "not well-formed"}, Case{"<SpaceSystem>", "line"}, Case{"<a/>", "expected a SpaceSystem"},
          Case{"<SpaceSystem name=\"x\"/>", "no container"},
          Case{"<!DOCTYPE a [<!ENTITY e \"x\">]><SpaceSystem name=\"&e;\"/>", "document type"},
          Case{"<SpaceSystem name=\"x\"><TelemetryMetaData><ContainerSet><SequenceContainer "
               "name=\"a\"><EntryList/><BaseContainer "
               "containerRef=\"a\"/></SequenceContainer></ContainerSet></TelemetryMetaData></SpaceSystem>",
               "no container"}}) {
        INFO(c.xml);
        std::vector<Problem> problems;
        CHECK_FALSE(import_xtce(c.xml, "demo.xml", problems));
        REQUIRE_FALSE(problems.empty());
        CHECK_THAT(to_string(problems), Catch::Contains(c.says));
    }
    std::string deep;
    for (int k = 0; k < 200; ++k) deep += "<SpaceSystem name=\"x\">";
    for (int k = 0; k < 200; ++k) deep += "</SpaceSystem>";
    std::vector<Problem> problems;
    CHECK_FALSE(import_xtce(deep, "demo.xml", problems));
}
