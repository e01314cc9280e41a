// Ports from 1 to 65535, IPv6 in brackets (RFC 3986, section 3.2.2), file:///path as in RFC 8089.
#include <array>
#include <string>

#include <catch2/catch.hpp>

#include "shared/endpoint.hpp"

using namespace turnstone;

namespace {

constexpr std::array kForms = {EndpointForm{"tcp", "tcp://HOST:PORT"}, EndpointForm{"file", "file:PATH?pace=RATE"}};

Result<Endpoint> read(const std::string& text) {
    return parse_endpoint("link", text, kForms);
}

} // namespace

TEST_CASE("a place on the network has a host and a port") {
    struct Case {
        const char* text;
        const char* host;
        int port;
    };
    for (const Case& one : {Case{"tcp://tracker.local:65535", "tracker.local", 65535}, Case{"TCP://[::1]:1", "::1", 1},
                            Case{"tcp://a%2Db:080", "a-b", 80}}) {
        INFO(one.text);
        const auto endpoint = read(one.text);
        REQUIRE(endpoint);
        CHECK(endpoint->scheme == "tcp");
        CHECK(endpoint->host == one.host);
        CHECK(endpoint->port == one.port);
        CHECK(endpoint->path.empty());
        CHECK(endpoint->options.empty());
    }
}

TEST_CASE("a path is written with or without an empty authority, and its percent-encoding is undone") {
    for (const char* text : {"file:/a/one%20flight%3F", "file:///a/one%20flight%3F", "FILE:/a/one%20flight%3f"})
        CHECK(read(text).value().path == "/a/one flight?");
    CHECK(read("file:capture.bin").value().path == "capture.bin");
}

TEST_CASE("options keep their order and undo their percent-encoding") {
    const auto endpoint = read("file:x?a=1&b=%26%3D=?/");
    REQUIRE(endpoint);
    const std::vector<std::pair<std::string, std::string>> expected = {{"a", "1"}, {"b", "&==?/"}};
    CHECK(endpoint->options == expected);
}

TEST_CASE("an endpoint with a mistake says what is wrong and what was expected") {
    struct Case {
        std::string text;
        std::string message; ///< after link "TEXT"
    };
    const std::string place = "; expected tcp://HOST:PORT, a port from 1 to 65535, IPv6 in brackets";
    const Case cases[] = {
        {"", "starts with no known scheme; expected tcp://HOST:PORT or file:PATH?pace=RATE"},
        {"udp://h:1", "starts with no known scheme; expected tcp://HOST:PORT or file:PATH?pace=RATE"},
        {"tcp:host:80", "lacks // after tcp:; expected tcp://HOST:PORT"},
        {"tcp:[::1]:80", "lacks // after tcp:; expected tcp://HOST:PORT"},
        {"tcp://host", "has no port" + place},
        {"tcp://host:", "has port \"\"" + place},
        {"tcp://host:0", "has port \"0\"" + place},
        {"tcp://host:65536", "has port \"65536\"" + place},
        {"tcp://host:99999999999999999999", "has port \"99999999999999999999\"" + place},
        {"tcp://:80", "names no host" + place},
        {"tcp://me@host:80", "names a user" + place},
        {"tcp://host:80/", "has a path" + place},
        {"tcp://host%0a:80", "has an encoded control character in its host; leave it out"},
        {"file:", "names no path; expected file:PATH?pace=RATE"},
        {"file://host/x", "has a host between // and the path; expected file:PATH?pace=RATE"},
        {"file:a%00b", "has an encoded control character in its path; leave it out"},
        {"file:a#b", "has a #; write %23 for a plain #"},
        {"file:one flight", "has a character in its path that a URI cannot hold; write it as %20"},
        {"file:x?", "has \"\" among its options; expected option=value, joined by &"},
        {"file:x?pace", "has \"pace\" among its options; expected option=value, joined by &"},
        {"file:x?=1", "has \"=1\" among its options; expected option=value, joined by &"},
        {"file:x?pace=", "has \"pace=\" among its options; expected option=value, joined by &"},
        {"file:x?a=1&", "has \"\" among its options; expected option=value, joined by &"},
        {"file:x?a=1&%61=2", "has option a twice; keep one"},
        {"file:x?a=%1b", "has an encoded control character in its options; leave it out"},
    };
    for (const Case& one : cases) {
        INFO(one.text);
        const auto endpoint = read(one.text);
        REQUIRE_FALSE(endpoint);
        CHECK(endpoint.error().message == "link \"" + one.text + "\" " + one.message);
    }
}

TEST_CASE("a message stays one line, however long or strange the text is") {
    const auto strange = read("x\n\x1b[31m\xff");
    REQUIRE_FALSE(strange);
    CHECK(strange.error().message.starts_with("link \"x??[31m?\" starts with"));
    const auto longest = read("file:" + std::string(5000, 'x'));
    REQUIRE_FALSE(longest);
    CHECK(longest.error().message ==
          "link \"file:" + std::string(115, 'x') + "…\" is longer than 2048 characters; shorten it");
}
