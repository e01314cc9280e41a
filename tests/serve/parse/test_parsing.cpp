/// What comes from the network before anything is done with it: targets, client texts, encodings, names, keys.
#include <catch2/catch.hpp>

#include "server/serve/http/access.hpp"
#include "server/serve/http/static_files.hpp"
#include "server/serve/parse/client_message.hpp"
#include "server/serve/parse/query.hpp"
#include "server/serve/server.hpp"

using namespace turnstone;

TEST_CASE("targets are taken apart, RFC 3986") {
    const auto target = parse_target("/api/recordings/a%20b%2Fc/series?columns=x%2Cy&from_s=-1.5&name=a+b&empty=");
    REQUIRE(target);
    CHECK(target->segments == std::vector<std::string>{"api", "recordings", "a b/c", "series"});
    CHECK(text_parameter(*target, "columns") == "x,y");
    CHECK(text_parameter(*target, "name") == "a b");
    CHECK(text_parameter(*target, "empty") == "");
    CHECK(number_parameter(*target, "from_s", -10, 10).value() == -1.5);
    CHECK_FALSE(number_parameter(*target, "to_s", -10, 10).value().has_value());
    CHECK(parse_target("/")->segments.empty());
    for (const char* bad :
         {"", "api", "http://host/", "*", "/%", "/%4", "/%zz", "/%00", "/a%0d%0a", "/?a=%7f", "/?a=1&a=2"}) {
        INFO(bad);
        CHECK_FALSE(parse_target(bad));
    }
}

TEST_CASE("numbers in a query are numbers in range or a sentence") {
    const auto parsed = [](const std::string& value) {
        return number_parameter(*parse_target("/?t=" + value), "t", -1e9, 1e9);
    };
    CHECK(parsed("1e3").value() == 1000.0);
    for (const char* bad : {"nan", "inf", "-inf", "1e10", "1e999", "12abc", "", "0x10", "1,5", "--1", "1%202"}) {
        INFO(bad);
        CHECK_FALSE(parsed(bad));
    }
    const auto points = integer_parameter(*parse_target("/?points=9000"), "points", 16, 8192);
    REQUIRE_FALSE(points);
    CHECK(points.error().message == "parameter 'points' is '9000'; it must be a whole number from 16 to 8192");
    CHECK_FALSE(integer_parameter(*parse_target("/?points=99999999999999999999"), "points", 16, 8192));
    CHECK(allow_parameters(*parse_target("/?a=1"), {"b", "c"}).error().message ==
          "unknown parameter 'a'; this request takes b, c");
}

TEST_CASE("client texts are requests, errors to answer, or reasons to close") {
    CHECK(
        std::get<OpenReplay>(parse_client_message(R"({"type":"open","recording":"x","request":3})")->what).recording ==
        "x");
    CHECK(parse_client_message(R"({"type":"pause","request":3})")->request == 3);
    CHECK(std::get<SeekReplay>(parse_client_message(R"({"type":"seek","t_s":-1.5})")->what).t_s == -1.5);
    CHECK(std::get<PlayReplay>(parse_client_message(R"({"type":"play","rate":0.1})")->what).rate == 0.1);
    CHECK(std::get<StepReplay>(parse_client_message(R"({"type":"step","rows":-1})")->what).rows == -1);
    CHECK(std::holds_alternative<FollowLive>(parse_client_message(R"({"type":"live"})")->what));
    struct Case {
        const char* text;
        bool fatal;
    };
    const Case cases[] = {
        {"", true},
        {"[]", true},
        {"{", true},
        {"{}", true},
        {R"({"type":7})", true},
        {R"({"type":"fire"})", true},
        {R"({"type":"live","request":"x"})", true},
        {R"({"type":"live","a":[[[[[[[[]]]]]]]]})", true},
        {"\xff", true},
        {R"({"type":"open"})", false},
        {R"({"type":"open","recording":5})", false},
        {R"({"type":"seek"})", false},
        {R"({"type":"seek","t_s":1e300})", false},
        {R"({"type":"play","rate":0})", false},
        {R"({"type":"play","rate":101})", false},
        {R"({"type":"play"})", false},
        {R"({"type":"step","rows":0})", false},
        {R"({"type":"step","rows":0.5})", false},
    };
    for (const Case& c : cases) {
        INFO(c.text);
        const auto message = parse_client_message(c.text);
        REQUIRE_FALSE(message);
        CHECK(message.error().fatal == c.fatal);
        CHECK_FALSE(message.error().message.empty());
    }
}

TEST_CASE("Accept-Encoding is read as RFC 9110 section 12.5.3 says") {
    for (const char* yes : {"gzip", "deflate, gzip;q=0.5", "br, GZIP ", "x-gzip"}) CHECK(accepts_gzip(yes));
    for (const char* no : {"", "identity", "br", "gzip;q=0", "gzip; q=0.000", "notgzip"}) CHECK_FALSE(accepts_gzip(no));
}

TEST_CASE("only names of this server are taken for it") {
    HostCheck loopback("127.0.0.1", {"Rocket.Example"});
    for (const char* yes : {"localhost", "LOCALHOST:8321", "127.0.0.1:1", "[::1]", "[::1]:8321", "rocket.example:80",
                            "localhost:"}) // RFC 9110 section 7.2: the port may be empty
        CHECK(loopback.host_allowed(yes));
    for (const char* no : {"", "evil.example", "localhost.evil.example", "127.0.0.1.evil.example:8321",
                           "127.0.0.1:8321:1", "localhost:80a", "[::1", "[::1]x", "10.9.8.7", "user@localhost"}) {
        INFO(no);
        CHECK_FALSE(loopback.host_allowed(no));
    }
    HostCheck everywhere("0.0.0.0", {});
    for (const std::string& address : machine_addresses())
        CHECK(everywhere.host_allowed(address.find(':') == std::string::npos ? address : "[" + address + "]:80"));
    CHECK_FALSE(everywhere.host_allowed("198.51.100.7")); // RFC 5737: nobody's address

    CHECK(HostCheck::origin_allowed("http://localhost:8321", "localhost:8321"));
    CHECK(HostCheck::origin_allowed("https://LOCALHOST", "localhost"));
    for (const char* no : {"null", "http://localhost", "http://localhost:83210", "http://evil.example",
                           "ftp://localhost:8321", "http://localhost:8321.evil.example"})
        CHECK_FALSE(HostCheck::origin_allowed(no, "localhost:8321"));
}

TEST_CASE("the operator key buys a cookie, wrong keys run dry") {
    using Verdict = OperatorAccess::Verdict;
    const auto start = OperatorAccess::Clock::now();
    OperatorAccess access("0123456789abcdef", 8321);
    const auto granted = access.attempt("192.0.2.1", "0123456789abcdef", start);
    REQUIRE(granted.verdict == Verdict::granted);
    CHECK(granted.set_cookie.find("HttpOnly; SameSite=Strict") != std::string::npos);
    const std::string cookie = granted.set_cookie.substr(0, granted.set_cookie.find(';'));
    CHECK(cookie.starts_with("turnstone_8321="));
    CHECK(access.is_operator(cookie));
    CHECK(access.is_operator("theme=dark; " + cookie + "; x=y"));
    CHECK_FALSE(access.is_operator(""));
    CHECK_FALSE(access.is_operator("turnstone_8321="));
    CHECK_FALSE(access.is_operator("turnstone_8321=0123456789abcdef"));
    CHECK_FALSE(access.is_operator("x" + cookie));

    for (int i = 0; i < 5; ++i) CHECK(access.attempt("192.0.2.2", "wrong", start).verdict == Verdict::wrong);
    CHECK(access.attempt("192.0.2.2", "0123456789abcdef", start).verdict == Verdict::too_many);
    CHECK(access.attempt("192.0.2.3", "0123456789abcdef", start).verdict ==
          Verdict::granted); // another address is not held up
    CHECK(access.attempt("192.0.2.2", "0123456789abcdef", start + std::chrono::seconds(3)).verdict == Verdict::granted);
}

TEST_CASE("keys are 128 bits and differ") {
    const std::string key = random_key();
    CHECK(key.size() == 32);
    CHECK(key.find_first_not_of("0123456789abcdef") == std::string::npos);
    CHECK(key != random_key());
    CHECK(equal_in_constant_time("abc", "abc"));
    CHECK_FALSE(equal_in_constant_time("abc", "abd"));
    CHECK_FALSE(equal_in_constant_time("abc", "abcd"));
}
