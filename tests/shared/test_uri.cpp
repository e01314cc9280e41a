// Against the examples of RFC 3986: sections 1.1.2, 3 and 5.4, appendix B.
#include <optional>
#include <string>

#include <catch2/catch.hpp>

#include "shared/uri.hpp"

using namespace turnstone;

namespace {

using Text = std::optional<std::string>;

/// Section 5.3, component recomposition.
std::string recomposed(const Uri& uri) {
    std::string out = uri.scheme + ":";
    if (uri.authority) {
        out += "//";
        if (uri.authority->userinfo) out += *uri.authority->userinfo + "@";
        out += uri.authority->host;
        if (uri.authority->port) out += ":" + *uri.authority->port;
    }
    out += uri.path;
    if (uri.query) out += "?" + *uri.query;
    if (uri.fragment) out += "#" + *uri.fragment;
    return out;
}

} // namespace

TEST_CASE("a URI falls into the components of RFC 3986") {
    struct Case {
        std::string text;
        std::string scheme;
        Text userinfo, host, port; ///< no host: no authority
        std::string path;
        Text query, fragment;
    };
    const Text none;
    const Case cases[] = {
        {"foo://example.com:8042/over/there?name=ferret#nose", "foo", none, "example.com", "8042", "/over/there",
         "name=ferret", "nose"},
        {"urn:example:animal:ferret:nose", "urn", none, none, none, "example:animal:ferret:nose", none, none},
        {"http://www.ics.uci.edu/pub/ietf/uri/#Related", "http", none, "www.ics.uci.edu", none, "/pub/ietf/uri/", none,
         "Related"},
        {"ftp://ftp.is.co.za/rfc/rfc1808.txt", "ftp", none, "ftp.is.co.za", none, "/rfc/rfc1808.txt", none, none},
        {"ldap://[2001:db8::7]/c=GB?objectClass?one", "ldap", none, "[2001:db8::7]", none, "/c=GB", "objectClass?one",
         none},
        {"mailto:John.Doe@example.com", "mailto", none, none, none, "John.Doe@example.com", none, none},
        {"news:comp.infosystems.www.servers.unix", "news", none, none, none, "comp.infosystems.www.servers.unix", none,
         none},
        {"tel:+1-816-555-1212", "tel", none, none, none, "+1-816-555-1212", none, none},
        {"telnet://192.0.2.16:80/", "telnet", none, "192.0.2.16", "80", "/", none, none},
        {"urn:oasis:names:specification:docbook:dtd:xml:4.1.2", "urn", none, none, none,
         "oasis:names:specification:docbook:dtd:xml:4.1.2", none, none},
        // Section 7.6: the authority of this one is not the host it seems to be.
        {"ftp://cnn.example.com&story=breaking_news@10.0.0.1/top_story.htm", "ftp",
         "cnn.example.com&story=breaking_news", "10.0.0.1", none, "/top_story.htm", none, none},
        {"http://a/b/c/d;p?q", "http", none, "a", none, "/b/c/d;p", "q", none},
        {"file:///etc/hosts", "file", none, "", none, "/etc/hosts", none, none},
        {"x-1+y.z:", "x-1+y.z", none, none, none, "", none, none},
        {"h://:?#", "h", none, "", "", "", "", ""},
    };
    for (const Case& one : cases) {
        INFO(one.text);
        const auto uri = parse_uri(one.text);
        REQUIRE(uri);
        CHECK(uri->scheme == one.scheme);
        REQUIRE(uri->authority.has_value() == one.host.has_value());
        if (uri->authority) {
            CHECK(uri->authority->userinfo == one.userinfo);
            CHECK(uri->authority->host == *one.host);
            CHECK(uri->authority->port == one.port);
        }
        CHECK(uri->path == one.path);
        CHECK(uri->query == one.query);
        CHECK(uri->fragment == one.fragment);
        CHECK(recomposed(*uri) == one.text);
    }
}

TEST_CASE("the targets of RFC 3986 section 5.4 come back whole") {
    for (const std::string text : {"g:h",
                                   "http://a/b/c/g",
                                   "http://a/b/c/g/",
                                   "http://a/g",
                                   "http://g",
                                   "http://a/b/c/d;p?y",
                                   "http://a/b/c/g?y",
                                   "http://a/b/c/d;p?q#s",
                                   "http://a/b/c/g#s",
                                   "http://a/b/c/g?y#s",
                                   "http://a/b/c/;x",
                                   "http://a/b/c/g;x",
                                   "http://a/b/c/g;x?y#s",
                                   "http://a/b/c/",
                                   "http://a/b/",
                                   "http://a/",
                                   "http://a/b/c/g.",
                                   "http://a/b/c/..g",
                                   "http://a/b/c/g;x=1/y",
                                   "http://a/b/c/g?y/../x",
                                   "http://a/b/c/g#s/../x",
                                   "http:g"}) {
        INFO(text);
        const auto uri = parse_uri(text);
        REQUIRE(uri);
        CHECK(recomposed(*uri) == text);
    }
}

TEST_CASE("the scheme counts in any case, percent-encoding is undone once") {
    CHECK(parse_uri("hTtP://www.EXAMPLE.com/").value().scheme == "http"); // section 6.2.2.1
    CHECK(uri_scheme("SERIAL:/dev/x") == "serial");
    for (const char* text : {"", ":", "1a:b", "/dev/tty:0", "a b:c", "//host"}) CHECK(uri_scheme(text).empty());
    CHECK(percent_decoded("%7Euser/%41%2525") == "~user/A%25"); // sections 2.3 and 2.4
    CHECK(percent_decoded("%e2%98%83") == "\xe2\x98\x83");
    CHECK(percent_decoded("100%") == "100%");
}

TEST_CASE("what the grammar of RFC 3986 does not allow is refused with what to write") {
    struct Case {
        std::string text;
        const char* message;
    };
    const Case cases[] = {
        {"/dev/ttyUSB0", "has no scheme; a URI begins with one, as in tcp://example.com:8042"},
        {"a:one flight", "has a character in its path that a URI cannot hold; write it as %20"},
        {std::string("a:x\0", 4), "has a character in its path that a URI cannot hold; write it as %00"},
        {"a:\xc3\xa9", "has a character in its path that a URI cannot hold; write it as %C3"},
        {"a:b[0]", "has a character in its path that a URI cannot hold; write it as %5B"},
        {"a:%", "has a % in its path without two hexadecimal digits; write %25 for a plain %"},
        {"a:%4", "has a % in its path without two hexadecimal digits; write %25 for a plain %"},
        {"a:b?%zz", "has a % in its query without two hexadecimal digits; write %25 for a plain %"},
        {"a:b#c#d", "has a character in its fragment that a URI cannot hold; write it as %23"},
        {"a://b|c", "has a character in its host that a URI cannot hold; write it as %7C"},
        {"a://u<@b", "has a character in its user name that a URI cannot hold; write it as %3C"},
        {"a://b:8x", "has a port that is not a number; a port has only digits, and IPv6 goes in brackets"},
        {"a://::1", "has a port that is not a number; a port has only digits, and IPv6 goes in brackets"},
        {"a://[::1", "has a [ without its ]; write IPv6 in brackets"},
        {"a://[localhost]:80", "has brackets around what is not an IPv6 address; write it as in [2001:db8::7]"},
        {"a://[v7.x]:80", "has brackets around what is not an IPv6 address; write it as in [2001:db8::7]"},
        {"a://[::1]80", "has something between ] and the port; write [ADDRESS]:PORT"},
    };
    for (const Case& one : cases) {
        INFO(one.text);
        const auto uri = parse_uri(one.text);
        REQUIRE_FALSE(uri);
        CHECK(uri.error().message == one.message);
    }
}
