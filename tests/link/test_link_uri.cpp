// Percent-encoding as RFC 3986 section 2.1, bracketed IPv6 as section 3.2.2.
#include <catch2/catch.hpp>

#include "server/link/link.hpp"

using namespace turnstone;

TEST_CASE("A serial URI gives the port and its line settings") {
    const auto uri = parse_link_uri("serial:/dev/ttyUSB0?baud=115200&parity=even&stop=2&name=radio&vehicle=boat");
    REQUIRE(uri);
    const auto& serial = std::get<LinkUri::Serial>(uri->source);
    CHECK(serial.path == "/dev/ttyUSB0");
    CHECK(serial.baud == 115200);
    CHECK(serial.parity == 'e');
    CHECK(serial.stop_bits == 2);
    CHECK(uri->name == "radio");
    CHECK(uri->vehicle == "boat");
    const auto plain = parse_link_uri("serial:/dev/a%3Fb");
    REQUIRE(plain);
    CHECK(std::get<LinkUri::Serial>(plain->source).path == "/dev/a?b");
    CHECK(std::get<LinkUri::Serial>(plain->source).baud == 57600);
    for (const unsigned baud : kBaudRates) CHECK(parse_link_uri("serial:/dev/x?baud=" + std::to_string(baud)));
}

TEST_CASE("Network and file URIs give their places") {
    const auto udp = parse_link_uri("udp:[::]:9000?framing=cobs");
    REQUIRE(udp);
    CHECK(std::get<LinkUri::Udp>(udp->source).address == "::");
    CHECK(std::get<LinkUri::Udp>(udp->source).port == 9000);
    const auto tcp = parse_link_uri("tcp:tracker.local:65535");
    REQUIRE(tcp);
    CHECK(std::get<LinkUri::Tcp>(tcp->source).host == "tracker.local");
    CHECK(std::get<LinkUri::Tcp>(tcp->source).port == 65535);
    const auto file = parse_link_uri("file:dir/one flight.bin?pace=57600");
    REQUIRE(file);
    CHECK(std::get<LinkUri::File>(file->source).path == "dir/one flight.bin");
    CHECK(std::get<LinkUri::File>(file->source).pace_baud == 57600);
}

TEST_CASE("A URI with a mistake says what is wrong and what would be right") {
    struct Case {
        const char* uri;
        const char* message;
    };
    const Case cases[] = {
        {"", R"(link "" starts with no known kind; must start with serial:, udp:, tcp: or file:)"},
        {"/dev/ttyUSB0",
         R"(link "/dev/ttyUSB0" starts with no known kind; must start with serial:, udp:, tcp: or file:)"},
        {"usb:x", R"(link "usb:x" starts with no known kind; must start with serial:, udp:, tcp: or file:)"},
        {"serial:", R"(link "serial:" names no path; must be serial:PATH?baud=RATE)"},
        {"serial:/dev/x?baud=57601",
         R"(link "serial:/dev/x?baud=57601" has baud=57601; must be one of 1200 1800 2400 4800 9600 19200 38400 57600 )"
         "115200 230400 460800 500000 576000 921600 1000000 1152000 1500000 2000000 2500000 3000000 3500000 "
         "4000000"},
        {"serial:/dev/x?parity=mark", R"(link "serial:/dev/x?parity=mark" has parity=mark; must be none, even or odd)"},
        {"serial:/dev/x?stop=3", R"(link "serial:/dev/x?stop=3" has stop=3; must be 1 or 2)"},
        {"serial:/dev/x?stop",
         R"(link "serial:/dev/x?stop" has "stop" among its options; must be option=value, joined by &)"},
        {"serial:/dev/x?baud=9600&",
         R"(link "serial:/dev/x?baud=9600&" has "" among its options; must be option=value, joined by &)"},
        {"serial:/dev/x?baud=9600&baud=9600",
         R"(link "serial:/dev/x?baud=9600&baud=9600" has option baud twice; keep one)"},
        {"serial:/dev/%zz",
         R"(link "serial:/dev/%zz" has a % in its path without two hexadecimal digits; write %25 for a plain %)"},
        {"serial:/dev/x?speed=9600",
         R"(link "serial:/dev/x?speed=9600" has the unknown option speed; known for serial: baud, parity, stop, name, )"
         "vehicle, framing (each as option=value, joined by &)"},
        {"serial:/dev/x?framing=slip",
         R"(link "serial:/dev/x?framing=slip" has framing=slip; the only framing is cobs)"},
        {"serial:/dev/x?name=My%20Radio",
         R"(link "serial:/dev/x?name=My%20Radio" has name=My Radio; a name has 1 to 32 of a-z, 0-9, _ and -)"},
        {"udp:9000",
         R"(link "udp:9000" has no port; must be udp:ADDRESS:PORT, a port from 1 to 65535, IPv6 in brackets)"},
        {"udp:localhost:9000",
         R"(link "udp:localhost:9000" has "localhost" for an address; must be a numeric address of this machine, or 0.0.0.0 )"
         "for all of them"},
        {"udp:0.0.0.0:0",
         R"(link "udp:0.0.0.0:0" has port "0"; must be udp:ADDRESS:PORT, a port from 1 to 65535, IPv6 in brackets)"},
        {"tcp:host:65536",
         R"(link "tcp:host:65536" has port "65536"; must be tcp:HOST:PORT, a port from 1 to 65535, IPv6 in brackets)"},
        {"tcp:host:+1",
         R"(link "tcp:host:+1" has port "+1"; must be tcp:HOST:PORT, a port from 1 to 65535, IPv6 in brackets)"},
        {"tcp:host", R"(link "tcp:host" has no port; must be tcp:HOST:PORT, a port from 1 to 65535, IPv6 in brackets)"},
        {"tcp::80", R"(link "tcp::80" names no host; must be tcp:HOST:PORT, a port from 1 to 65535, IPv6 in brackets)"},
        {"tcp:::1:80",
         R"(link "tcp:::1:80" has more than one colon; must be tcp:HOST:PORT, a port from 1 to 65535, IPv6 in brackets)"},
        {"tcp:[::1", R"(link "tcp:[::1" has no port; must be tcp:HOST:PORT, a port from 1 to 65535, IPv6 in brackets)"},
        {"file:", R"(link "file:" names no path; must be file:PATH?pace=RATE)"},
        {"file:x?pace=fast",
         R"(link "file:x?pace=fast" has pace=fast; must be a bit rate from 10 to 1000000000; leave it out for full speed)"},
        {"file:x?baud=9600",
         R"(link "file:x?baud=9600" has the unknown option baud; known for file: pace, name, vehicle, framing )"
         "(each as option=value, joined by &)"},
    };
    std::size_t count = 0;
    for (const Case& one : cases) {
        INFO(one.uri);
        const auto uri = parse_link_uri(one.uri);
        REQUIRE_FALSE(uri);
        CHECK(uri.error().message == one.message);
        ++count;
    }
    CHECK(count == 26);
    CHECK_FALSE(parse_link_uri("file:" + std::string(5000, 'x')));
}

TEST_CASE("Links without a name get one from their kind, and no two are alike") {
    std::vector<LinkUri> uris;
    for (const char* text : {"serial:/dev/a", "serial:/dev/b", "udp:0.0.0.0:9000", "file:x?name=serial-2", "file:y"})
        uris.push_back(parse_link_uri(text).value());
    REQUIRE(name_links(uris));
    CHECK(uris[0].name == "serial");
    CHECK(uris[1].name == "serial-3");
    CHECK(uris[2].name == "udp");
    CHECK(uris[3].name == "serial-2");
    CHECK(uris[4].name == "file");
    uris[0].name = "serial-2";
    const auto twice = name_links(uris);
    REQUIRE_FALSE(twice);
    CHECK(twice.error().message == "two links are named \"serial-2\"; give each its own name=");
}

TEST_CASE("Station time starts at UTC and never goes back") {
    const std::int64_t first_ns = station_now_ns();
    CHECK(std::abs(first_ns - utc_now_ns()) < 1'000'000'000);
    std::int64_t last_ns = first_ns;
    for (int i = 0; i < 1000; ++i) {
        const std::int64_t now_ns = station_now_ns();
        CHECK(now_ns >= last_ns);
        last_ns = now_ns;
    }
}
