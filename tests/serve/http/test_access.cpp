/// Who may ask and as what: names of this server, the operator key, sessions.
#include <catch2/catch.hpp>

#include "server/serve/http/access.hpp"
#include "server/serve/random_key.hpp"

using namespace turnstone;

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
