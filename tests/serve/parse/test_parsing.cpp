/// What comes from the network before anything is done with it: targets, header fields, client texts, operator
/// requests.
#include <catch2/catch.hpp>

#include <string>
#include <utility>
#include <vector>

#include "server/serve/parse/client_message.hpp"
#include "server/serve/parse/header_fields.hpp"
#include "server/serve/parse/operator_request.hpp"
#include "server/serve/parse/query.hpp"
#include "server/serve/parse/utf8.hpp"

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
    CHECK_FALSE(std::get<StepReplay>(parse_client_message(R"({"type":"step","rows":-1})")->what).of_packets);
    CHECK(std::get<StepReplay>(parse_client_message(R"({"type":"step","packets":1})")->what).of_packets);
    CHECK(std::get<FollowDebrief>(parse_client_message(R"({"type":"follow","follow":true})")->what).follow);
    const auto lead = std::get<LeadDebrief>(
        parse_client_message(R"({"type":"lead","t_s":4.5,"playing":true,"rate":0.5,"by":"KL"})")->what);
    CHECK((!lead.end && lead.t_s == 4.5 && lead.playing && lead.rate == 0.5 && lead.by == "KL"));
    CHECK(std::get<LeadDebrief>(parse_client_message(R"({"type":"lead","end":true})")->what).end);
    CHECK(std::holds_alternative<AskTime>(parse_client_message(R"({"type":"time","request":1})")->what));
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
        {R"({"type":"live","a":[[[[[[[[]]]]]]]]})", true},
        {"\xff", true},
        {R"({"type":"live","request":"x"})", false},
        {R"({"type":"live","request":1e300})", false},
        {R"({"type":"live","request":1.5})", false},
        {R"({"type":"live","request":18446744073709551615})", false},
        {R"({"type":"open"})", false},
        {R"({"type":"open","recording":5})", false},
        {R"({"type":"seek"})", false},
        {R"({"type":"seek","t_s":1e300})", false},
        {R"({"type":"play","rate":0})", false},
        {R"({"type":"play","rate":101})", false},
        {R"({"type":"play"})", false},
        {R"({"type":"step","rows":0})", false},
        {R"({"type":"step","rows":0.5})", false},
        {R"({"type":"step","packets":0})", false},
        {R"({"type":"step","packets":1,"rows":1})", false},
        {R"({"type":"lead"})", false},
        {R"({"type":"lead","t_s":1,"rate":1})", false},
        {R"({"type":"lead","t_s":1e300,"rate":1,"playing":true})", false},
        {R"({"type":"lead","t_s":1,"rate":1,"playing":true,"by":7})", false},
        {R"({"type":"lead","end":false})", false},
        {R"({"type":"follow"})", false},
        {R"({"type":"follow","follow":1})", false},
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

TEST_CASE("the host of a Host field is found, RFC 9110 section 7.2") {
    const std::pair<const char*, const char*> cases[] = {{"localhost", "localhost"},
                                                         {"LOCALHOST:8321", "localhost"},
                                                         {"127.0.0.1:1", "127.0.0.1"},
                                                         {"[::1]", "::1"},
                                                         {"[FE80::1]:8321", "fe80::1"},
                                                         {"localhost:", "localhost"}, // an empty port
                                                         {"127.0.0.1:8321:1", ""},
                                                         {"localhost:80a", ""},
                                                         {"localhost:123456", ""},
                                                         {"[::1", ""},
                                                         {"[::1]x", ""},
                                                         {"", ""},
                                                         {"user@localhost", "user@localhost"}};
    for (const auto& [field, host] : cases) {
        INFO(field);
        CHECK(host_of(field) == host);
    }
}

TEST_CASE("an origin is ours when it is the authority of the Host field") {
    CHECK(is_same_origin("http://localhost:8321", "localhost:8321"));
    CHECK(is_same_origin("https://LOCALHOST", "localhost"));
    for (const char* no : {"null", "http://localhost", "http://localhost:83210", "http://evil.example",
                           "ftp://localhost:8321", "http://localhost:8321.evil.example"})
        CHECK_FALSE(is_same_origin(no, "localhost:8321"));
}

TEST_CASE("entity tags are compared weakly, RFC 9110 section 8.8.3.2") {
    for (const char* yes : {"\"a\"", "W/\"a\"", "\"b\", W/\"a\"", "*"}) CHECK(names_tag(yes, "\"a\""));
    for (const char* no : {"", "a", "\"b\"", "w/\"a\""}) CHECK_FALSE(names_tag(no, "\"a\""));
}

TEST_CASE("cookies are found by name") {
    using Values = std::vector<std::string_view>;
    CHECK(cookie_values("theme=dark; key=1; xkey=2;key=3; key", "key") == Values{"1", "3"});
    CHECK(cookie_values("key=", "key") == Values{""});
    CHECK(cookie_values("", "key").empty());
}

TEST_CASE("bodies of operator requests are requests or a sentence") {
    CHECK(parse_key_request(R"({"key":"k"})")->key == "k");
    CHECK(parse_recording_request("{}")->name.empty());
    CHECK(parse_recording_request(R"({"name":"second flight"})")->name == "second flight");
    const auto mark = parse_mark_request(R"({"text":"cable out","t_s":2.5})");
    CHECK(mark->text == "cable out");
    CHECK(mark->t_s == 2.5);
    CHECK_FALSE(parse_mark_request(R"({"text":""})")->t_s.has_value());
    CHECK(parse_meta_request(R"({"notes":"calm"})")->notes == "calm");
    CHECK_FALSE(parse_meta_request(R"({"notes":"calm"})")->name.has_value());

    for (const char* bad : {"", "[]", "{}", R"({"text":5})", R"({"text":"x","t_s":"1"})", R"({"text":"x","t_s":null})",
                            R"({"text":"x","t_s":1e300})", R"({"text":"x","more":1})", R"({"text":[[[[[[]]]]]]})"}) {
        INFO(bad);
        REQUIRE_FALSE(parse_mark_request(bad));
        CHECK_FALSE(parse_mark_request(bad).error().message.empty());
    }
    for (const char* bad : {"{}", R"({"key":1})", R"({"key":"k","more":1})"}) CHECK_FALSE(parse_key_request(bad));
    for (const char* bad : {R"({"name":1})", R"({"text":"x"})"}) CHECK_FALSE(parse_recording_request(bad));
    for (const char* bad : {"{}", R"({"name":1})", R"({"notes":[]})"}) CHECK_FALSE(parse_meta_request(bad));
    CHECK(parse_recording_request(R"({"name":")" + std::string(200, 'x') + "\"}").has_value());
    CHECK_FALSE(parse_recording_request(R"({"name":")" + std::string(201, 'x') + "\"}"));
    CHECK_FALSE(parse_meta_request(R"({"notes":")" + std::string(16385, 'x') + "\"}"));
}

TEST_CASE("UTF-8 is told from what is not, RFC 3629 section 4") {
    for (const char* yes : {"", "plain", "\xc2\x80", "\xdf\xbf", "\xe0\xa0\x80", "\xed\x9f\xbf", "\xee\x80\x80",
                            "\xf0\x90\x80\x80", "\xf4\x8f\xbf\xbf"}) {
        INFO(yes);
        CHECK(is_utf8(yes));
    }
    for (const char* no : {"\x80", "\xc0\x80", "\xc1\xbf", "\xc2", "\xc2x", "\xe0\x9f\xbf", "\xe2\x82", "\xed\xa0\x80",
                           "\xf0\x8f\xbf\xbf", "\xf0\x9f\x98", "\xf4\x90\x80\x80", "\xf5\x80\x80\x80", "\xff"}) {
        INFO(no);
        CHECK_FALSE(is_utf8(no));
    }
}

TEST_CASE("a WebSocket key is sixteen octets in base64, RFC 6455 section 4.2.1") {
    CHECK(is_websocket_key("dGhlIHNhbXBsZSBub25jZQ==")); // the example of section 1.3
    for (const char* no : {"", "abc", "dGhlIHNhbXBsZSBub25jZQ", "dGhlIHNhbXBsZSBub25jZQ= =", "dGhlIHNhbXBsZSBub25jZTE=",
                           "dGhlIHNhbXBsZSBub25j!Q==", "====dGhlIHNhbXBsZSBub25j"}) {
        INFO(no);
        CHECK_FALSE(is_websocket_key(no));
    }
}

TEST_CASE("requests of other pages are told by Fetch Metadata") {
    for (const char* other : {"cross-site", "same-site"}) CHECK(is_from_other_page(other));
    for (const char* own : {"", "same-origin", "none"}) CHECK_FALSE(is_from_other_page(own));
}
