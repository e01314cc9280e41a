/// Who may ask and as what: names of this server, the operator key, sessions.
#include <memory>
#include <string>
#include <utility>

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

TEST_CASE("the operator key buys a cookie, and is taken however many wrong ones came before") {
    using Verdict = KeyVerdict;
    const auto start = OperatorAccess::Clock::now();
    OperatorAccess access("0123456789abcdef", 8321);
    const auto granted = access.attempt("192.0.2.1", "0123456789abcdef", start);
    REQUIRE(granted.verdict == Verdict::granted);
    CHECK(granted.set_cookie.find("HttpOnly; SameSite=Strict") != std::string::npos);
    const std::string cookie = granted.set_cookie.substr(0, granted.set_cookie.find(';'));
    CHECK(cookie.starts_with("turnstone_8321="));
    CHECK(access.is_operator(cookie, start));
    CHECK(access.is_operator("theme=dark; " + cookie + "; x=y", start));
    CHECK_FALSE(access.is_operator("", start));
    CHECK_FALSE(access.is_operator("turnstone_8321=", start));
    CHECK_FALSE(access.is_operator("turnstone_8321=0123456789abcdef", start));
    CHECK_FALSE(access.is_operator("x" + cookie, start));

    for (int i = 0; i < 5; ++i) CHECK(access.attempt("192.0.2.2", "wrong", start).verdict == Verdict::wrong);
    CHECK(access.attempt("192.0.2.2", "wrong", start).verdict == Verdict::too_many);
    CHECK(access.attempt("192.0.2.2", "0123456789abcdef", start).verdict == Verdict::granted);
    CHECK(access.attempt("192.0.2.3", "wrong", start).verdict == Verdict::wrong); // another address has its own count
    CHECK(access.attempt("192.0.2.2", "wrong", start + std::chrono::seconds(3)).verdict == Verdict::wrong);
}

TEST_CASE("a session ends after seven days, at log-out, and not with another's") {
    const auto start = OperatorAccess::Clock::now();
    OperatorAccess access("0123456789abcdef", 8321);
    const auto open = [&](OperatorAccess::Clock::time_point at) {
        const std::string set_cookie = access.attempt("192.0.2.1", "0123456789abcdef", at).set_cookie;
        CHECK(set_cookie.find("; Max-Age=604800;") != std::string::npos); // the browser forgets it as the server does
        return set_cookie.substr(0, set_cookie.find(';'));
    };
    const std::string first = open(start);
    const std::string second = open(start + std::chrono::hours(1));
    CHECK(access.is_operator(first, start + std::chrono::hours(7 * 24) - std::chrono::seconds(1)));
    CHECK_FALSE(access.is_operator(first, start + std::chrono::hours(7 * 24)));
    CHECK(access.is_operator(second, start + std::chrono::hours(7 * 24)));

    CHECK(access.end_session("turnstone_8321=nobody; x=y").find("turnstone_8321=; Path=/; Max-Age=0;") == 0);
    CHECK(access.is_operator(first, start));
    CHECK(access.end_session(first + "; " + second).find("Max-Age=0") != std::string::npos);
    CHECK_FALSE(access.is_operator(first, start));
    CHECK_FALSE(access.is_operator(second, start));
}

TEST_CASE("a session holds for the connections of its browser and address, from when it is opened to when it ends") {
    const auto start = OperatorAccess::Clock::now();
    OperatorAccess access("0123456789abcdef", 8321);
    const auto named = access.name_browser();
    const std::string cookie = named.set_cookie.substr(0, named.set_cookie.find(';'));
    CHECK(named.set_cookie.find("HttpOnly; SameSite=Strict") != std::string::npos);
    CHECK(access.browser_of("theme=dark; " + cookie) == named.name);
    CHECK(access.browser_of("turnstone_8321_browser=short") == "");
    const auto client = [](const std::string& browser, const std::string& address, const std::string& session = "") {
        return Client{.address = address, .turn = {}, .session = session, .browser = browser};
    };
    const Client page = client(named.name, "192.0.2.1");
    CHECK_FALSE(access.holds(page, start));
    const auto revision = access.revision();
    const auto granted = access.attempt("192.0.2.1", "0123456789abcdef", start, cookie);
    const std::string session_cookie = granted.set_cookie.substr(0, granted.set_cookie.find(';'));
    CHECK(access.revision() != revision);
    CHECK(access.holds(page, start));
    CHECK_FALSE(access.holds(client(named.name, "192.0.2.2"), start)); // who knows a browser's name is not there yet
    CHECK_FALSE(access.holds(client(access.name_browser().name, "192.0.2.1"), start));
    CHECK_FALSE(access.holds(client("", "192.0.2.1"), start));
    CHECK_FALSE(access.is_operator(cookie, start)); // requests need the session's own cookie
    const Client script = client("", "192.0.2.9", access.session_of(session_cookie, start));
    CHECK(access.holds(script, start));
    CHECK_FALSE(access.holds(page, start + std::chrono::hours(7 * 24)));
    (void)access.end_session(session_cookie);
    CHECK_FALSE(access.holds(page, start));
    CHECK_FALSE(access.holds(script, start));
}

TEST_CASE("a session is handed over once, within ten minutes, and ends where it was given from") {
    const auto start = OperatorAccess::Clock::now();
    OperatorAccess access("0123456789abcdef", 8321);
    const auto open = [&](std::string_view key, OperatorAccess::Clock::time_point at) {
        const KeyAttempt attempt = access.attempt("192.0.2.1", key, at);
        return attempt.set_cookie.substr(0, attempt.set_cookie.find(';'));
    };
    const std::string giver = open("0123456789abcdef", start);
    const std::string other = open("0123456789abcdef", start);
    CHECK(access.hand_over("", start) == "");
    CHECK(access.hand_over("turnstone_8321=nobody", start) == "");

    const std::string first = access.hand_over(giver, start);
    const std::string key = access.hand_over(giver, start);
    CHECK(open(first, start) == ""); // another one was asked for since
    CHECK(access.is_operator(giver, start));
    const auto revision = access.revision();
    const std::string taker = open(key, start + std::chrono::minutes(9));
    CHECK(access.is_operator(taker, start));
    CHECK(access.revision() != revision);
    CHECK_FALSE(access.is_operator(giver, start));
    CHECK(access.is_operator(other, start));
    CHECK(open(key, start) == "");

    const std::string late = access.hand_over(taker, start);
    CHECK(open(late, start + std::chrono::minutes(10)) == "");
    CHECK(access.is_operator(taker, start));
    const std::string void_key = access.hand_over(taker, start);
    (void)access.end_session(taker);
    CHECK(open(void_key, start) == ""); // it was the session's to give
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

TEST_CASE("sessions outlive a restart as they were, and what is kept opens none") {
    static constexpr const char* kKey = "0123456789abcdef";
    std::string kept;
    const auto start = OperatorAccess::Clock::now();
    const auto again = [&kept] { // the next process
        return std::make_unique<OperatorAccess>(
            kKey, 8321, ServeSettings::Sessions{kept, [&kept](std::string text) { kept = std::move(text); }});
    };
    const auto first = again();
    const auto open = [&](OperatorAccess& access, std::string_view key, std::string_view cookies = {}) {
        const KeyAttempt attempt = access.attempt("192.0.2.1", key, start, cookies);
        return attempt.set_cookie.substr(0, attempt.set_cookie.find(';'));
    };
    const auto named = first->name_browser();
    const std::string browser = named.set_cookie.substr(0, named.set_cookie.find(';'));
    const std::string stays = open(*first, kKey, browser), left = open(*first, kKey), giver = open(*first, kKey);
    const std::string heir_key = first->hand_over(giver, start);
    (void)first->end_session(left);
    for (const std::string& secret : {stays, giver, browser, heir_key, std::string(kKey)})
        CHECK(kept.find(secret.substr(secret.find('=') + 1)) == std::string::npos);

    const auto second = again();
    CHECK(second->operators(start) == 2);
    CHECK(second->is_operator(stays, start));
    CHECK_FALSE(second->is_operator(left, start));
    const auto week = start + std::chrono::hours(7 * 24);
    CHECK(second->is_operator(stays, week - std::chrono::minutes(1)));
    CHECK_FALSE(second->is_operator(stays, week + std::chrono::minutes(1)));
    CHECK(second->holds(Client{.address = "192.0.2.1", .turn = {}, .browser = named.name}, start));
    CHECK_FALSE(second->holds(Client{.address = "192.0.2.2", .turn = {}, .browser = named.name}, start));
    CHECK_FALSE(second->hand_over(stays, start).empty());

    const std::string taker = open(*second, heir_key);
    const auto third = again();
    CHECK(third->is_operator(taker, start));
    CHECK_FALSE(third->is_operator(giver, start)); // handed over before that restart, and ended by it
    (void)third->end_session(taker + "; " + stays);
    CHECK(again()->operators(start) == 0);
}

TEST_CASE("sessions that are spoilt, over or too long are not taken back") {
    const auto start = OperatorAccess::Clock::now();
    const auto with = [&](const std::string& kept) {
        return OperatorAccess("0123456789abcdef", 8321, {.kept = kept}).is_operator("turnstone_8321=token", start);
    };
    const auto entry = [](const std::string& token, const std::string& ends) {
        return R"([{"token":")" + token + R"(","browser":"","address":"","ends_utc_s":)" + ends +
               R"(,"heir_key":"","heir_key_ends_utc_s":0}])";
    };
    const std::string token = hashed_key("token");
    CHECK(with(entry(token, "32503680000")));
    OperatorAccess long_ago("0123456789abcdef", 8321, {.kept = entry(token, "32503680000")});
    CHECK_FALSE(long_ago.is_operator("turnstone_8321=token", start + std::chrono::hours(7 * 24 + 1)));
    for (const std::string& spoilt :
         {std::string(), std::string("["), std::string("{}"), std::string("[1,null,[]]"), entry(token, "1"),
          entry(token, "\"never\""), entry(token, "-9223372036854775808"), entry(token, "1e99"),
          entry("token", "32503680000"), entry("", "32503680000")}) {
        INFO(spoilt);
        CHECK_FALSE(with(spoilt));
    }
}
