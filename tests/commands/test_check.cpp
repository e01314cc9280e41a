// Output lines are "file: /json/pointer: wrong; right", pointers as RFC 6901 spells them.
#include <sstream>

#include <catch2/catch.hpp>

#include "server/commands/subcommands.hpp"
#include "server/estimate/inputs.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

struct Checked {
    std::size_t mistakes;
    std::string text;
};

Checked check(const std::vector<std::filesystem::path>& paths) {
    std::ostringstream out;
    const Arguments given = {{"PATH", {paths.begin(), paths.end()}}};
    const int code = check_subcommand().run(given, out, out);
    std::istringstream lines(out.str());
    std::size_t mistakes = 0;
    for (std::string line; std::getline(lines, line);)
        mistakes += line.find(": ok; ") == std::string::npos && !line.starts_with("  ");
    CHECK((code == 0) == (mistakes == 0));
    return {mistakes, out.str()};
}

void replace_in(const std::filesystem::path& path, const std::string& from, const std::string& to) {
    std::string changed = read_file(path);
    const std::size_t at = changed.find(from);
    REQUIRE(at != std::string::npos);
    changed.replace(at, from.size(), to);
    write_file(path, changed);
}

} // namespace

TEST_CASE("A folder with everything in order is called ok, file by file") {
    const Checked checked = check({demo_path()});
    INFO(checked.text);
    CHECK(checked.mistakes == 0);
    CHECK_THAT(checked.text, Catch::Contains("sanderling/dictionary.json: ok; dictionary of sanderling"));
    for (const char* vehicle : {"sanderling", "dunlin", "petrel", "mast", "plover", "whimbrel"})
        CHECK_THAT(checked.text, Catch::Contains(vehicle + std::string("/vehicle.json: ok; vehicle ") + vehicle));
    CHECK_THAT(checked.text, Catch::Contains("sanderling/mass.csv: ok; 19 weighings"));
    CHECK_THAT(checked.text, Catch::Contains("site.json: ok; site Lantern Flat"));
    CHECK_THAT(checked.text, Catch::Contains("turnstone.json: ok; settings"));
}

TEST_CASE("The channels that raise alerts are listed, with when") {
    const std::string text = check({demo_path("sanderling")}).text;
    INFO(text);
    for (const char* line :
         {"  watches imu.imu_temperature: above 338 K caution, 353 K warning; below 263 K caution\n",
          "  watches fix.satellites_used: below 5 caution\n",
          "  watches health.battery_voltage: below 7.2 V caution, 6.8 V warning; stale for 10 s caution\n",
          "  watches health.continuity_drogue: not good warning\n"})
        CHECK_THAT(text, Catch::Contains(line));
}

TEST_CASE("Every mistake in a folder is reported, each on its line with its pointer") {
    const TemporaryFolder folder;
    copy_demo(folder);
    replace_in(folder.path() / "site.json", "\"declination_deg\": -9.6", "\"declination_deg\": 412.4");
    replace_in(folder.path() / "site.json", "\"name\"", "\"nmae\"");
    replace_in(folder.path() / "sanderling/vehicle.json", "\"mass_dry_kg\": 2.9", "\"mass_dry_kg\": \"2.9\"");
    const Checked checked = check({folder.path()});
    const std::string root = folder.path().string();
    CHECK(checked.mistakes == 4);
    CHECK(checked.text == root +
                              "/sanderling/vehicle.json: /rocket/mass_dry_kg: is the text \"2.9\"; must be a "
                              "number from 0.001 to 1000000\n" +
                              root + "/site.json: /name: is missing; must be text, not empty\n" + root +
                              "/site.json: /declination_deg: is 412.4; must be a number from -180 to 180\n" + root +
                              "/site.json: /nmae: is an unknown member; remove it; known here: $schema name "
                              "pad station geoid_height_m "
                              "declination_deg antenna_beamwidth_deg pad_pressure_pa pad_temperature_k "
                              "launch_azimuth_deg launch_tilt_deg "
                              "boundary wind temperature forecast terrain\n");
}

TEST_CASE("A vehicle folder whose two files name different vehicles is a mistake") {
    const TemporaryFolder folder;
    copy_demo(folder);
    replace_in(folder.path() / "sanderling/vehicle.json", "\"name\": \"sanderling\"", "\"name\": \"plover\"");
    const Checked checked = check({folder.path() / "sanderling"});
    CHECK(checked.mistakes == 1);
    CHECK_THAT(checked.text, Catch::Contains("/sanderling/vehicle.json: /name: is \"plover\"; must be \"sanderling\""));
}

TEST_CASE("A vehicle folder without its second file says so") {
    const TemporaryFolder folder;
    copy_demo(folder);
    std::filesystem::remove(folder.path() / "sanderling/vehicle.json");
    const Checked checked = check({folder.path() / "sanderling"});
    CHECK(checked.mistakes == 1);
    CHECK_THAT(checked.text, Catch::Contains("/sanderling/vehicle.json: (whole file): "));
    CHECK_THAT(checked.text, Catch::Contains("does not exist"));
}

TEST_CASE("What is read from a link with another framing is said: of a folder, and of settings") {
    const Checked demo = check({demo_path("petrel")});
    CHECK(demo.mistakes == 0);
    CHECK_THAT(demo.text,
               Catch::Contains("framing=nmea: NMEA 0183 sentences into fix, wind, heading, engine, transducers") &&
                   Catch::Contains("Engine hours: yes") && Catch::Contains("while engine.engine_speed is above 500"));
    const TemporaryFolder folder;
    folder.write("vehicle.json", R"({"name": "boat"})");
    const Checked plain = check({folder.path()});
    CHECK(plain.mistakes == 0);
    CHECK_THAT(plain.text, Catch::Contains("vehicle boat, without a dictionary") &&
                               Catch::Contains("sentences into fix, satellites, wind, weather"));
    folder.write("turnstone.json",
                 R"({"links": ["udp://0.0.0.0:9000?name=lines&framing=text&vehicle=proto&names=time_ms,alt_m",
        "udp://0.0.0.0:9001?framing=nmea&vehicle=gnss&name=gnss"]})");
    const Checked settings = check({folder.path() / "turnstone.json"});
    CHECK(settings.mistakes == 0);
    CHECK_THAT(settings.text, Catch::Contains("link lines: lines of line: time_ms, alt_m") &&
                                  Catch::Contains("link gnss: NMEA 0183 sentences into fix"));
    folder.write("turnstone.json", R"({"links": ["udp://0.0.0.0:9000?framing=text&separator=ab"]})");
    CHECK_THAT(check({folder.path() / "turnstone.json"}).text,
               Catch::Contains("has separator=ab; expected one character"));
}

TEST_CASE("A file under another name is known by its content") {
    const TemporaryFolder folder;
    copy_demo(folder);
    std::filesystem::rename(folder.path() / "site.json", folder.path() / "range.json");
    const auto settings = folder.write("field.json", "// at the range\n{\"port\": 1, \"links\": [\"usb:x\"]}");
    const auto odd = folder.write("odd.json", "{\"a\": 1}");
    const auto broken = folder.write("broken.json", "{\"a\": 1");
    const auto commented_site = folder.write("commented.json", "// no\n{\"pad\": {}}");

    CHECK_THAT(check({folder.path() / "range.json"}).text, Catch::Contains("ok; site Lantern Flat"));
    const Checked config = check({settings});
    CHECK(config.mistakes == 1);
    CHECK_THAT(
        config.text,
        Catch::Contains("field.json: /links/0: link \"usb:x\" starts with no known scheme; expected serial:PATH"));
    CHECK_THAT(check({odd}).text,
               Catch::Contains("odd.json: (whole file): is not a dictionary, vehicle, site, settings, procedure"));
    CHECK_THAT(check({broken}).text, Catch::Contains("broken.json: (whole file): is not JSON"));
    CHECK_THAT(check({commented_site}).text, Catch::Contains("commented.json: (whole file): is not JSON"));
}

TEST_CASE("Settings that contradict each other are a mistake") {
    const TemporaryFolder folder;
    const auto file = folder.write("turnstone.json", R"({"share": true, "listen_address": "127.0.0.1"})");
    const Checked checked = check({file});
    CHECK(checked.mistakes == 1);
    CHECK_THAT(checked.text, Catch::Contains("turnstone.json: /share: "));
}

TEST_CASE("A path that leads nowhere, or to nothing of ours, is a mistake") {
    const TemporaryFolder folder;
    CHECK_THAT(check({folder.path()}).text, Catch::Contains(": (folder): holds no dictionary.json"));
    const Checked missing = check({folder.path() / "none.json", folder.path() / "site.json"});
    CHECK(missing.mistakes == 2);
    CHECK_THAT(missing.text, Catch::Contains("none.json does not exist"));
}

TEST_CASE("A wrong role is answered with the roles there are") {
    const TemporaryFolder folder;
    copy_demo(folder);
    replace_in(folder.path() / "sanderling/dictionary.json", "\"role\": \"battery_voltage\"", "\"role\": \"battery\"");
    const Checked checked = check({folder.path() / "sanderling"});
    CHECK(checked.mistakes == 1);
    CHECK_THAT(checked.text, Catch::Contains("\"battery\" is not a role; must be one of: accel_body_x, ") &&
                                 Catch::Contains("battery_voltage") && Catch::Contains("position_ecef_z"));
}

TEST_CASE("Hundreds of mistakes are counted, and fifty of them written") {
    const TemporaryFolder folder;
    copy_demo(folder);
    std::string fields;
    for (int k = 0; k < 200; ++k)
        fields += (k == 0 ? "" : ",") + std::string(R"({"name":"Bad )") + std::to_string(k) + R"(","type":"u8"})";
    folder.write("sanderling/dictionary.json",
                 R"({"vehicle":"sanderling","version":"1","packets":[{"apid":1,"name":"p","period_ms":0,"fields":[)" +
                     fields + "]}]}");
    const Checked checked = check({folder.path() / "sanderling"});
    CHECK(checked.mistakes == 51); // with the line that counts the rest
    CHECK_THAT(checked.text, Catch::EndsWith("and 150 more\n"));
    CHECK(checked.text.size() < 51 * 500);

    // One mistake in what all packets share is one mistake, and a name of a megabyte is not written whole.
    folder.write(
        "sanderling/dictionary.json",
        R"({"vehicle":"sanderling","version":"1","secondary_header":{"fields":[{"name":")" + std::string(1 << 20, 'x') +
            R"(","type":"u8"}]},"packets":[{"apid":1,"name":"p","period_ms":0,"fields":[{"name":"a","type":"u8"}]},
                        {"apid":2,"name":"q","period_ms":0,"fields":[{"name":"a","type":"u8"}]}]})");
    const Checked shared = check({folder.path() / "sanderling"});
    CHECK(shared.mistakes == 1);
    CHECK(shared.text.size() < 3000);
    CHECK(check({folder.path() / "sanderling", folder.path() / "sanderling"}).mistakes == 1);
}

namespace {

/// A vehicle folder whose one packet has these fields, each "name unit", every `period_ms`.
std::string outlook_of(const std::vector<std::string>& fields, double period_ms, bool is_rocket) {
    const TemporaryFolder folder;
    copy_demo(folder);
    std::string list;
    for (const std::string& field : fields) {
        const std::string role = field.substr(0, field.find(' ')), unit = field.substr(field.find(' ') + 1);
        list += (list.empty() ? "" : ",") + std::string(R"({"name":")") + role + R"(","type":"f32","unit":")" + unit +
                R"(","role":")" + role + R"("})";
    }
    folder.write("sanderling/dictionary.json",
                 R"({"vehicle":"sanderling","version":"1","packets":[{"apid":1,"name":"p","period_ms":)" +
                     std::to_string(period_ms) + R"(,"fields":[)" + list + "]}]}");
    if (!is_rocket) folder.write("sanderling/vehicle.json", R"({"name":"sanderling"})");
    const Checked checked = check({folder.path() / "sanderling"});
    INFO(checked.text);
    CHECK(checked.mistakes == 0);
    return checked.text;
}

const std::vector<std::string> kFix = {"latitude deg", "longitude deg", "height_msl m"};

} // namespace

TEST_CASE("A vehicle is told which estimates it gets, and what the others need") {
    const std::string tracker = outlook_of(kFix, 200, true);
    CHECK_THAT(tracker, Catch::Contains("  Position, track, look angles: yes\n") &&
                            Catch::Contains("  Air data: no; needs static_pressure\n") &&
                            Catch::Contains("  Phases and flight events: yes\n") &&
                            Catch::Contains("  Landing area: yes\n") &&
                            Catch::Contains("  Attitude: no; needs accel_body_x, y, z and rate_body_x, y, z\n"));
    const std::string barometer = outlook_of({"static_pressure Pa"}, 200, true);
    CHECK_THAT(barometer, Catch::Contains("  Apogee prediction: yes\n") &&
                              Catch::Contains("  Position, track, look angles: no; needs a GNSS fix") &&
                              Catch::Contains("  Landing area: no; needs a GNSS fix"));
    const std::string balloon = outlook_of(kFix, 1000, false);
    CHECK_THAT(balloon, Catch::Contains("  Position, track, look angles: yes\n") &&
                            Catch::Contains("altitude AGL, vertical speed: yes") &&
                            Catch::Contains("  Phases and flight events: no; vehicle.json has no \"rocket\"\n"));
}

TEST_CASE("A vehicle is told of rates that are too low, or low enough to be late and coarse") {
    CHECK_THAT(outlook_of({"static_pressure Pa"}, 500, true),
               Catch::Contains("flight events: yes, but static pressure at 2 Hz: late and coarse; 5 Hz or more"));
    CHECK_THAT(outlook_of({"static_pressure Pa"}, 4000, true),
               Catch::Contains("flight events: no; static pressure at 0.25 Hz; at least 1 Hz is needed"));
    CHECK_THAT(outlook_of(kFix, 10000, true),
               Catch::Contains("look angles: yes, but GNSS fixes at 0.1 Hz") &&
                   Catch::Contains("Landing area: no; GNSS fixes at 0.1 Hz; at least 0.5 Hz is needed"));
    CHECK_THAT(outlook_of(kFix, 0, true), Catch::Contains("Landing area: yes\n")); // sent now and then
}

TEST_CASE("The table of what each estimate needs stands in README.md as the program has it") {
    CHECK_THAT(read_file(source_path("README.md")), Catch::Contains(estimate::estimate_needs_markdown()));
}

TEST_CASE("What a vehicle's two files say of its sensors and costs figures in flight is said") {
    const auto accelerometer = [](const std::string& name, const std::string& more) {
        return R"({"name":")" + name + R"(","type":"f32","unit":"m/s2","role":"accel_body_x")" + more + "}";
    };
    const std::vector<std::pair<std::string, std::string>> cases{
        {accelerometer("a", ""), ""},
        {R"({"name":"a","type":"i16","unit":"m/s2","role":"accel_body_x","calibration":{"linear":{"gain":0.002,"offset":0}}})",
         "p.a holds -65.54 to 65.53 m/s2, less than the accel_range_mps2"},
        {R"({"name":"a","type":"i16","unit":"m/s2","role":"accel_body_x","calibration":{"linear":{"gain":0.01,"offset":0}}})",
         ""},
        {accelerometer("a", "") + "," + accelerometer("b", ""), "only the first is used"},
        {accelerometer("a", R"(,"valid_range":[-1960,1960])") + "," + accelerometer("b", R"(,"valid_range":[-60,60])"),
         "two accelerometers: p.b is used up to nine tenths of 60 m/s2, then p.a"},
        {R"({"name":"a","type":"f32","unit":"Pa","role":"static_pressure"},
            {"name":"b","type":"f32","unit":"Pa","role":"static_pressure"})",
         "two barometers: p.a is used, and p.b where that one fails"}};
    for (const auto& [fields, said] : cases) {
        const TemporaryFolder folder;
        copy_demo(folder);
        folder.write(
            "sanderling/dictionary.json",
            R"({"vehicle":"sanderling","version":"1","packets":[{"apid":1,"name":"p","period_ms":10,"fields":[)" +
                fields + "]}]}");
        const std::string text = check({folder.path() / "sanderling"}).text;
        INFO(text);
        for (const char* words : {" holds ", "two accel", "two baro"})
            if (said.empty()) CHECK(text.find(words) == std::string::npos);
        CHECK_THAT(text, Catch::Contains(said));
    }
}

TEST_CASE("Acceleration alone gives vertical motion with a caution, and slow turn rates no attitude") {
    CHECK_THAT(outlook_of({"accel_body_x m/s2"}, 10, true),
               Catch::Contains("vertical speed: yes, but by acceleration alone"));
    const TemporaryFolder folder;
    copy_demo(folder);
    const auto packet = [](int apid, const std::string& quantity, const std::string& unit, double period_ms) {
        std::string fields;
        for (const char* axis : {"x", "y", "z"})
            fields += (fields.empty() ? "" : ",") + std::string(R"({"name":")") + quantity + axis +
                      R"(","type":"f32","unit":")" + unit + R"(","role":")" + quantity + axis + R"("})";
        return R"({"apid":)" + std::to_string(apid) + R"(,"name":"p)" + std::to_string(apid) + R"(","period_ms":)" +
               std::to_string(period_ms) + R"(,"fields":[)" + fields + "]}";
    };
    folder.write("sanderling/dictionary.json", R"({"vehicle":"sanderling","version":"1","packets":[)" +
                                                   packet(1, "accel_body_", "m/s2", 10) + "," +
                                                   packet(2, "rate_body_", "rad/s", 1000) + "]}");
    CHECK_THAT(check({folder.path() / "sanderling"}).text,
               Catch::Contains("Attitude: no; inertial samples at 1 Hz; at least 5 Hz is needed"));
}
