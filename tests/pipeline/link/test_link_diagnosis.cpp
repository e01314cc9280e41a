// What a link says is wrong: within ten seconds of station time, one cause at a time, and never of a link that only
// loses.
#include <catch2/catch.hpp>

#include <functional>
#include <optional>

#include "tests/pipeline/link/uart.hpp"
#include "tests/pipeline/station.hpp"
#include "tests/support/hex.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr std::int64_t kWithin_ns = 10 * kNsPerS;

/// A station with one serial link, fed by hand.
class Bench {
  public:
    explicit Bench(PipelineSetup given = make_setup(1, {{"radio", "serial:/dev/ttyUSB0", 0}}))
        : setup_(std::move(given)), pipeline_(setup_, kStart_ns) {
        pipeline_.action(kStart_ns, LinkReport{.link = "radio", .state = LinkState::open}, out);
    }

    void at(double t_s, const Bytes& bytes, LinkId link = 0) {
        const std::int64_t t_ns = kStart_ns + seconds_to_ns(t_s);
        pipeline_.chunk(link, t_ns, t_ns, bytes, out);
    }
    void send_over_both(double from_s, double to_s) {
        std::vector<Sent> sent;
        test::send(sent, kStart_ns + seconds_to_ns(from_s), seconds_to_ns(to_s - from_s), 17'000, 10);
        for (const Delivery& delivery : in_order({transmit(sent, 0, {}, 1), transmit(sent, 1, {}, 2)}))
            pipeline_.chunk(delivery.link, delivery.t_ns, delivery.t_ns, delivery.bytes, out);
    }
    /// `bytes` over and over, `rate` of them a second in pieces of 50 ms.
    void stream(double from_s, double to_s, const Bytes& bytes, double rate) {
        std::size_t next = 0;
        double owed = 0;
        for (double t_s = from_s; t_s < to_s; t_s += 0.05) {
            Bytes piece;
            for (owed += rate * 0.05; owed >= 1; --owed) piece.push_back(bytes[next++ % bytes.size()]);
            if (!piece.empty()) at(t_s, piece);
        }
    }
    void send(double from_s, double to_s, std::uint32_t onboard_ms = 5000) {
        std::vector<Sent> sent;
        test::send(sent, kStart_ns + seconds_to_ns(from_s), seconds_to_ns(to_s - from_s), onboard_ms, 10);
        for (const Sent& packet : sent) pipeline_.chunk(0, packet.t_ns, packet.t_ns, packet.bytes, out);
    }
    void report(double t_s, LinkState state) {
        pipeline_.action(kStart_ns + seconds_to_ns(t_s), LinkReport{.link = "radio", .state = state}, out);
    }
    void until(double t_s) { pipeline_.advance(kStart_ns + seconds_to_ns(t_s), out); }

    [[nodiscard]] std::vector<Event> alerts(EventId id = EventId::link_trouble) const {
        std::vector<Event> found;
        for (const Event& event : out.events)
            if (event.id == id) found.push_back(event);
        return found;
    }

    Batch out;

  private:
    PipelineSetup setup_;
    Pipeline pipeline_;
};

std::string text_value(const Event& event, std::string_view name) {
    for (const EventValue& value : event.values)
        if (value.name == name) return std::get<std::string>(value.value);
    return "";
}

Bytes link_bytes_of(std::string_view text) {
    const auto bytes = std::as_bytes(std::span(text));
    return {bytes.begin(), bytes.end()};
}

Bytes nmea_sentences() {
    std::string text;
    for (const auto& one : read_reference("unframed.json").at("sentences"))
        text += one.at("sentence").get<std::string>() + "\r\n";
    return link_bytes_of(text);
}

Bytes frames_of(const char* start_hex) {
    Bytes out;
    for (const auto& one : read_reference("unframed.json").at("frames"))
        if (one.at("start_hex") == start_hex) {
            const Bytes frame = from_hex(one.at("frame_hex").get<std::string>());
            out.insert(out.end(), frame.begin(), frame.end());
        }
    return out;
}

/// A vehicle's packets as another rate of the line makes them.
Bytes at_wrong_rate(double sender_baud, double receiver_baud) {
    std::vector<Sent> sent;
    send(sent, kStart_ns, 4 * kNsPerS, 1000, 0);
    Bytes line;
    for (const Sent& packet : sent) line.insert(line.end(), packet.bytes.begin(), packet.bytes.end());
    return heard(line, {sender_baud, receiver_baud}, 20, [](std::size_t k) { return k % 21 == 20; });
}

} // namespace

TEST_CASE("bytes without a frame are said within ten seconds, with what they look like") {
    std::mt19937 random(1);
    Bytes noise;
    while (noise.size() < 20000) noise.push_back(static_cast<std::byte>(random()));
    struct Case {
        const char* name;
        Bytes bytes;
        double bytes_per_s;
        const char* looks_like;
        std::string says; ///< the end of the sentence
    };
    const Case cases[] = {
        {"sentences, one a second", nmea_sentences(), 75, "nmea", "It looks like NMEA 0183 sentences"},
        {"a console, slowly", link_bytes_of("waiting for carrier\r\n"), 12, "text", "It looks like text lines"},
        {"another protocol", frames_of("EB90"), 400, "start_bytes",
         "It looks like a binary protocol with the repeating start bytes EB 90, or a wrong baud rate"},
        {"a line held low", Bytes(10), 300, "one_byte", "It looks like all bits the same (00)"},
        {"a line held high", Bytes(10, std::byte{0xFF}), 300, "one_byte", "It looks like all bits the same (FF)"},
        {"noise", noise, 500, "noise", "It looks like noise, without structure"},
        {"noise at ten megabits", noise, 1e6, "noise", "It looks like noise, without structure"},
        {"a sender at half the rate", at_wrong_rate(57600, 115200), 2000, "slow_bits",
         "It looks like a sender with a lower baud rate than this link is set to"},
    };
    for (const Case& one : cases) {
        INFO(one.name);
        Bench bench;
        bench.stream(1, 14, one.bytes, one.bytes_per_s);
        const std::vector<Event> alerts = bench.alerts();
        REQUIRE(alerts.size() == 1);
        const Event& alert = alerts.front();
        CHECK(alert.kind == EventKind::alert_raised);
        CHECK(alert.level == Level::caution);
        CHECK(alert.key == "link/radio/trouble");
        CHECK(alert.t_found_ns <= kStart_ns + seconds_to_ns(1) + kWithin_ns);
        CHECK(text_value(alert, "cause") == "no_frames");
        CHECK(text_value(alert, "looks_like") == one.looks_like);
        CHECK_THAT(alert.text, Catch::StartsWith("Link radio: no good frame in ") && Catch::EndsWith(one.says));
        CHECK(alert.advice == (alert.text.ends_with("NMEA 0183 sentences")
                                   ? "Give the link framing=nmea"
                                   : "Check the port, the baud rate and whether the vehicle sends this protocol"));
        // Good frames end it, and it stays ended.
        bench.send(14, 40);
        const std::vector<Event> after = bench.alerts();
        REQUIRE(after.size() == 2);
        CHECK(after.back().kind == EventKind::alert_cleared);
        CHECK(after.back().key == alert.key);
        CHECK(after.back().t_found_ns <= kStart_ns + 15 * kNsPerS);
        CHECK(after.back().text == "Link radio recovered; it had no good frames");
    }
}

TEST_CASE("a wrong baud rate is said within ten seconds, at every pair of rates") {
    const double rates[] = {9600, 19200, 38400, 57600, 115200};
    std::size_t pairs = 0;
    for (const double sender : rates)
        for (const double receiver : rates) {
            if (sender == receiver) continue;
            INFO("sent at " << sender << ", heard at " << receiver);
            ++pairs;
            Bench bench;
            const Bytes bytes = at_wrong_rate(sender, receiver);
            bench.stream(0, 12, bytes, std::max(40.0, static_cast<double>(bytes.size()) / 4));
            REQUIRE(bench.alerts().size() == 1);
            CHECK(bench.alerts().front().t_found_ns <= kStart_ns + kWithin_ns);
            CHECK(text_value(bench.alerts().front(), "cause") == "no_frames");
        }
    CHECK(pairs == 20);
}

TEST_CASE("only a serial line has a baud rate") {
    Bench bench(make_setup(1, {{"radio", "udp://0.0.0.0:9000", 0}}));
    bench.stream(0, 12, link_bytes_of("waiting for carrier\r\n"), 500);
    REQUIRE(bench.alerts().size() == 1);
    CHECK(bench.alerts().front().advice == "Check the port and whether the vehicle sends this protocol");
}

TEST_CASE("a link that had good frames says so when another program takes over its line") {
    Bench bench;
    bench.send(0, 20);
    bench.stream(20, 32, nmea_sentences(), 400);
    REQUIRE(bench.alerts().size() == 1);
    CHECK(bench.alerts().front().t_found_ns <= kStart_ns + 30 * kNsPerS);
    CHECK(text_value(bench.alerts().front(), "looks_like") == "nmea");
    CHECK_THAT(bench.alerts().front().text, Catch::Contains("though good ones came before. It looks like NMEA 0183"));
}

TEST_CASE("a capture of something else, read in a moment, says so at its end") {
    Bench bench(make_setup(1, {{"radio", "file:log.txt", 0}}));
    bench.at(0.01, nmea_sentences());
    bench.until(1);
    CHECK(bench.alerts().empty());
    bench.report(1.1, LinkState::end_of_file);
    bench.until(2);
    REQUIRE(bench.alerts().size() == 1);
    CHECK_THAT(bench.alerts().front().text, Catch::EndsWith("It looks like NMEA 0183 sentences"));
    // One of a flight ends with nothing to say.
    Bench flight(make_setup(1, {{"radio", "file:flight.bin", 0}}));
    flight.send(0, 2);
    flight.at(2.1, nmea_sentences());
    flight.report(2.2, LinkState::end_of_file);
    flight.until(60);
    CHECK(flight.alerts().empty());
}

TEST_CASE("good frames that the dictionary cannot read are named, with how many") {
    struct Case {
        const char* name;
        std::function<Bytes(unsigned)> packet;
        bool beside_good_ones;
        std::string says;
    };
    const Case cases[] = {
        {"an unknown APID alone", [](unsigned k) { return frame(777, k, 1000 + k * 500, Bytes(8)); }, false,
         "APID 777 (unknown)"},
        {"an unknown APID beside the vehicle's", [](unsigned k) { return frame(777, k, 1000 + k * 500, Bytes(8)); },
         true, "APID 777 (unknown)"},
        {"another size", [](unsigned k) { return frame(100, k, 1000 + k * 500, Bytes(3)); }, false,
         "APID 100 of 17 bytes (wrong size)"},
    };
    for (const Case& one : cases) {
        INFO(one.name);
        Bench bench;
        if (one.beside_good_ones) bench.send(0, 1);
        for (unsigned k = 0; k < 40; ++k) bench.at(1 + k * 0.5, one.packet(k));
        bench.until(25);
        REQUIRE(bench.alerts().size() == 1);
        const Event alert = bench.alerts().front();
        CHECK(alert.level == Level::caution);
        CHECK(text_value(alert, "cause") == "unreadable");
        CHECK(alert.t_found_ns <= kStart_ns + seconds_to_ns(1) + kWithin_ns);
        CHECK(alert.text == "Link radio: good frames that the dictionary cannot read: " + one.says);
        bench.until(60);
        REQUIRE(bench.alerts().size() == 2);
        CHECK(bench.alerts().back().kind == EventKind::alert_cleared);
    }
    // One alone may be a damaged frame whose checksum fits by chance, and idle packets are nothing wrong.
    Bench bench;
    bench.send(0, 5);
    bench.at(5, frame(777, 0, 5000, Bytes(8)));
    for (unsigned k = 0; k < 100; ++k) bench.at(5.1 + k * 0.1, frame(2047, k, 5000, Bytes(8)));
    bench.until(30);
    CHECK(bench.alerts().empty());
}

TEST_CASE("the dictionary of another vehicle makes one short sentence with the next step") {
    Bench bench;
    for (unsigned k = 0; k < 40; ++k) {
        for (const unsigned apid : {777u, 778u, 779u}) bench.at(1 + k * 0.1, frame(apid, k, 1000 + k * 100, Bytes(8)));
        bench.at(1 + k * 0.1, frame(100, k, 1000 + k * 100, Bytes(3)));
    }
    bench.until(6);
    REQUIRE(bench.alerts().size() == 1);
    const Event alert = bench.alerts().front();
    CHECK_THAT(alert.text, Catch::StartsWith("Link radio: good frames that the dictionary cannot read: APID 777") &&
                               Catch::EndsWith("of 17 bytes (wrong size)"));
    CHECK(alert.text.size() < 140);
    CHECK(alert.advice == "Start the station with this vehicle's folder (--vehicle), or correct its dictionary.json");
}

TEST_CASE("many unknown APIDs are bounded in what is said") {
    Bench bench;
    for (unsigned k = 0; k < 4000; ++k) bench.at(k * 0.005, frame(200 + k % 500, k, k, Bytes(4)));
    bench.until(25);
    for (const Event& event : bench.out.events) CHECK(event.text.size() < 800);
    Bench few;
    for (unsigned k = 0; k < 400; ++k) few.at(k * 0.01, frame(200 + k % 8, k, k, Bytes(4)));
    few.until(5);
    REQUIRE(few.alerts().size() == 1);
}

TEST_CASE("an on-board time that is stuck in all packets is said within ten seconds") {
    for (const double period_s : {0.02, 1.0}) {
        INFO("every " << period_s << " s");
        Bench bench;
        unsigned count = 0;
        double t_s = 0;
        for (; t_s < 12; t_s += period_s, ++count) bench.at(t_s, frame(100, count, 4321, user_data(Kind::step, count)));
        REQUIRE(bench.alerts().size() == 1);
        const Event alert = bench.alerts().front();
        CHECK(text_value(alert, "cause") == "time_stuck");
        CHECK(alert.t_found_ns <= kStart_ns + kWithin_ns);
        CHECK_THAT(alert.text, Catch::StartsWith("Link radio: on-board time stuck at 4.321 s in "));
        bench.at(t_s, frame(100, count, 4321 + 12000, user_data(Kind::step, count)));
        bench.until(t_s + 1);
        REQUIRE(bench.alerts().size() == 2);
        CHECK(bench.alerts().back().kind == EventKind::alert_cleared);
    }
}

TEST_CASE("a link that sends the same frame for seconds is said within ten seconds, even beside one that works") {
    Bench bench(make_setup(1, {{"radio", "serial:/dev/ttyUSB0", 0}, {"relay", "serial:/dev/ttyUSB1", 0}}));
    const Bytes stuck = frame(100, 7, 5000, user_data(Kind::step, 7));
    for (double t_s = 0; t_s < 12; t_s += 0.1) bench.at(t_s, stuck, 1);
    REQUIRE(bench.alerts().size() == 1);
    const Event alert = bench.alerts().front();
    CHECK(text_value(alert, "cause") == "frames_repeat");
    CHECK(text_value(alert, "link") == "relay");
    CHECK(alert.t_found_ns <= kStart_ns + kWithin_ns);
    CHECK_THAT(alert.text, Catch::StartsWith("Link relay: the same frame (APID 100) 5"));
    // Duplicates of what another link brought are not the same frame.
    bench.send_over_both(12, 30);
    REQUIRE(bench.alerts().size() == 2);
    CHECK(bench.alerts().back().kind == EventKind::alert_cleared);
}

TEST_CASE("a vehicle that tells another version of the dictionary is found out at its first such packet") {
    for (const std::string version : {"word", "2.0"}) {
        INFO("station has " << version);
        PipelineSetup setup = make_setup(1, {{"radio", "serial:/dev/ttyUSB0", 0}});
        nlohmann::json json = nlohmann::json::parse(setup.vehicles[0].dictionary_json);
        json["version"] = version;
        json["packets"][1]["fields"][1]["role"] = "dictionary_version"; // what "burst" says is "word"
        std::vector<Problem> problems;
        setup.vehicles[0].dictionary = read_dictionary(json, "dictionary.json", problems);
        REQUIRE(problems.empty());
        Bench bench(std::move(setup));
        bench.send(0, 5);
        if (version == "word") {
            CHECK(bench.alerts().empty());
            continue;
        }
        REQUIRE(bench.alerts().size() == 1);
        CHECK(text_value(bench.alerts().front(), "cause") == "dictionary_differs");
        CHECK(bench.alerts().front().t_found_ns <= kStart_ns + kNsPerS);
        CHECK(bench.alerts().front().text ==
              "Link radio: the vehicle uses version word of the dictionary, this station version 2.0");
    }
}

namespace {

/// One that says the values of "step" in another order than the vehicle sends them, with what they may be.
PipelineSetup with_fields_in_another_order() {
    PipelineSetup setup = make_setup(1, {{"radio", "serial:/dev/ttyUSB0", 0}});
    nlohmann::json json = nlohmann::json::parse(setup.vehicles[0].dictionary_json);
    nlohmann::json& fields = json["packets"][0]["fields"];
    fields[0]["valid_range"] = {0, 1000};
    std::swap(fields[0], fields[1]);
    std::vector<Problem> problems;
    setup.vehicles[0].dictionary = read_dictionary(json, "dictionary.json", problems);
    REQUIRE(problems.empty());
    return setup;
}

} // namespace

TEST_CASE("a dictionary of the right sizes with its fields in another order is named by what the values cannot be") {
    Bench bench(with_fields_in_another_order());
    bench.send(0, 10);
    REQUIRE(bench.alerts().size() == 1);
    const Event alert = bench.alerts().front();
    CHECK(alert.t_found_ns <= kStart_ns + kWithin_ns);
    CHECK(text_value(alert, "cause") == "values_impossible");
    CHECK_THAT(alert.text, Catch::StartsWith("Link radio: values that no sensor can say: Serial ") &&
                               Catch::EndsWith(". The dictionary probably does not fit this firmware"));
    CHECK_THAT(alert.advice, Catch::StartsWith("Compare dictionary.json with the firmware"));
}

TEST_CASE("one sensor that is broken from the start says nothing of the dictionary") {
    PipelineSetup setup = make_setup(1, {{"radio", "serial:/dev/ttyUSB0", 0}});
    nlohmann::json json = nlohmann::json::parse(setup.vehicles[0].dictionary_json);
    nlohmann::json& fields = json["packets"][0]["fields"];
    fields.push_back(fields[1]);
    fields[2]["name"] = "other";
    for (nlohmann::json& field : fields) field["valid_range"] = {0, 60'000};
    std::vector<Problem> problems;
    setup.vehicles[0].dictionary = read_dictionary(json, "dictionary.json", problems);
    REQUIRE(problems.empty());
    Bench bench(std::move(setup));
    for (unsigned k = 0; k < 1000; ++k) {
        Bytes data;
        put(data, 4'000'000'000U, 4);
        put(data, 2, 2);
        put(data, 2, 2);
        bench.at(k * 0.02, frame(100, k, 1000 + k * 20, data));
    }
    CHECK(bench.alerts().empty());
}

TEST_CASE("a sensor that goes wrong after packets that were right says nothing of the dictionary") {
    PipelineSetup setup = with_fields_in_another_order();
    const auto packet = [](unsigned k, std::uint32_t serial) {
        Bytes data;
        put(data, 0, 2); // the level, as this dictionary has it
        put(data, serial, 4);
        return frame(100, k, 1000 + k * 20, data);
    };
    Bench bench(std::move(setup));
    for (unsigned k = 0; k < 1000; ++k) bench.at(k * 0.02, packet(k, k < 20 ? k : 4'000'000'000U));
    CHECK(bench.alerts().empty());
}

TEST_CASE("one alert of a link at a time: silence takes the place of what was wrong before") {
    Bench bench;
    bench.stream(0, 12, nmea_sentences(), 400);
    REQUIRE(bench.alerts().size() == 1);
    bench.report(15, LinkState::no_data);
    bench.until(40);
    REQUIRE(bench.alerts().size() == 2);
    CHECK(bench.alerts().back().kind == EventKind::alert_cleared);
    REQUIRE(bench.alerts(EventId::link_down).size() == 1);
    CHECK(bench.alerts(EventId::link_down).front().t_found_ns >= bench.alerts().back().t_found_ns);
}

TEST_CASE("loss, damage and silence raise nothing") {
    struct Case {
        const char* name;
        Impairment channel;
    };
    const Case cases[] = {
        {"clean", {}},
        {"a tenth lost, some damaged", {.loss = 0.1, .duplicate = 0.02, .hold_back = 0.05, .bit_error = 0.05}},
        {"half lost, half of the rest damaged", {.loss = 0.5, .bit_error = 0.5}},
        {"nine of ten damaged", {.bit_error = 0.9}},
        {"of a hundred one comes through", {.loss = 0.9, .bit_error = 0.9}},
    };
    for (const Case& one : cases)
        for (unsigned seed = 1; seed <= 5; ++seed) {
            INFO(one.name << ", seed " << seed);
            std::vector<Sent> sent;
            send(sent, kStart_ns, 300 * kNsPerS, 5000, 3);
            // Fades of two and of twenty seconds, in which only noise comes.
            Bench bench;
            std::mt19937 random(seed);
            for (const Delivery& delivery : transmit(sent, 0, one.channel, seed).deliveries) {
                const double t_s = seconds_between(kStart_ns, delivery.t_ns);
                const bool fades = std::fmod(t_s, 60) < 2 || (t_s > 100 && t_s < 120);
                if (!fades) bench.at(t_s, delivery.bytes);
                if (fades && random() % 50 == 0) bench.at(t_s, Bytes(3, static_cast<std::byte>(random() | 1u)));
            }
            bench.until(310);
            CHECK(bench.alerts().empty());
        }
}
