/// The port under visitors that take more than their part: others get in, the operator gets in, and who is refused is
/// told why.
#include <catch2/catch.hpp>

#include <memory>
#include <thread>
#include <vector>

#include "tests/serve/fixture.hpp"

using namespace turnstone;
using namespace std::chrono_literals;

namespace {

constexpr const char* kHalfRequest = "GET /api/session HTTP/1.1\r\nHost: local";

/// Connections that never finish their request.
std::vector<RawClient> half_requests(std::uint16_t port, int count, const std::string& from) {
    std::vector<RawClient> out;
    for (int i = 0; i < count; ++i) {
        out.emplace_back(port, from);
        out.back().send(kHalfRequest);
    }
    return out;
}

unsigned status_from(const LiveServer& live, const std::string& from, const Fields& fields = {}) {
    return http_request(live.port(), "GET", "/api/session", fields, "", from).status;
}

} // namespace

TEST_CASE("half requests by the hundred keep nobody out, and are told why they end") {
    const LiveServer live;
    const auto half = half_requests(live.port(), 700, "127.0.0.1");
    for (const char* from : {"127.0.0.1", kOneVisitor}) CHECK(status_from(live, from) == 200);
    const std::string told = half.front().read(2000);
    CHECK(told.starts_with("HTTP/1.1 503"));
    CHECK(told.find("Retry-After: 2") != std::string::npos);
    CHECK(told.find("while others needed its place") != std::string::npos);
}

TEST_CASE("an address's own connections give way to its newcomers") {
    const LiveServer live;
    const auto of_other = half_requests(live.port(), 1, kOtherVisitor);
    const auto half = half_requests(live.port(), 40, kOneVisitor);
    CHECK(status_from(live, kOneVisitor) == 200);
    CHECK(half.front().read(12) == "HTTP/1.1 503");
    of_other.front().send("host\r\n\r\n"); // untouched all the while
    CHECK(of_other.front().read(12) == "HTTP/1.1 200");
}

TEST_CASE("an address whose connections are all being answered is told so") {
    const LiveServer live;
    const std::string wrong = R"({"key":"wrong"})";
    const std::string request = "POST /api/session HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
                                "Content-Length: " +
                                std::to_string(wrong.size()) + "\r\n\r\n" + wrong;
    std::vector<RawClient> guessing; // wrong keys after the first few are held for a moment
    for (int i = 0; i < 5 + 32; ++i) {
        guessing.emplace_back(live.port(), kOneVisitor);
        guessing.back().send(request);
        if (i < 5) CHECK(guessing.back().read(12) == "HTTP/1.1 403");
    }
    std::this_thread::sleep_for(100ms); // for the server to have read them all
    const RawClient next(live.port(), kOneVisitor);
    const std::string told = next.read(2000, 500ms);
    CHECK(told.starts_with("HTTP/1.1 503"));
    CHECK(told.find("too many connections for one address (at most 32)") != std::string::npos);
    CHECK(status_from(live, kOtherVisitor) == 200);
    CHECK(guessing.back().read(12) == "HTTP/1.1 429");
}

TEST_CASE("guesses from an operator's address do not lock the operator out") {
    const LiveServer live;
    for (const unsigned status : {403u, 403u, 403u, 403u, 403u, 429u})
        CHECK(live.post("/api/session", R"({"key":"wrong"})").status == status);
    CHECK_FALSE(live.operator_cookie().front().second.empty());
    CHECK(live.get("/api/session", live.operator_cookie()).json().at("role") == "operator");
}

TEST_CASE("an address has so many viewers, and who comes after learns why") {
    const LiveServer live;
    std::vector<std::unique_ptr<StreamClient>> viewers;
    const auto connect = [&](const std::string& from, const Fields& fields = {}) -> StreamClient& {
        viewers.push_back(std::make_unique<StreamClient>(live.port(), fields, 0, from));
        return *viewers.back();
    };
    for (int i = 0; i < 64; ++i) REQUIRE(connect(kOneVisitor).next());
    StreamClient& refused = connect(kOneVisitor);
    CHECK_FALSE(refused.next());
    CHECK(refused.close_code() == 4503);
    CHECK(refused.close_reason().find("too many viewers for one address (at most 64)") == 0);
    for (int i = 0; i < 36; ++i) REQUIRE(connect("127.0.0.1").next()); // the server's 100 are complete
    StreamClient& full = connect(kOtherVisitor);
    CHECK_FALSE(full.next());
    CHECK(full.close_reason().find("too many viewers (at most 100)") == 0);
    CHECK(connect("127.0.0.1", live.operator_cookie()).next()); // a place was kept
    viewers.clear();
    std::optional<StreamClient::Message> welcome;
    for (int tries = 0; tries < 100 && !welcome; ++tries) welcome = connect(kOtherVisitor).next(1000ms);
    CHECK(welcome);
}

TEST_CASE("an address has so many replays, and who asks for more is told why") {
    LiveServer live;
    const test::TemporaryFolder other;
    std::filesystem::copy_file(other.recording(record_flight(other.path())),
                               live.folder.recording("2026-05-16T080000Z-sanderling"));
    const std::string open = R"({"type":"open","recording":"2026-05-16T080000Z-sanderling","request":1})";
    std::vector<std::unique_ptr<StreamClient>> viewers;
    const auto answer = [&](const std::string& from) {
        viewers.push_back(std::make_unique<StreamClient>(live.port(), Fields{}, 0, from));
        viewers.back()->next_of("hello");
        viewers.back()->send(open);
        return viewers.back()->next()->json();
    };
    for (int i = 0; i < 16; ++i) REQUIRE(answer(kOneVisitor).at("type") == "hello");
    const auto refused = answer(kOneVisitor);
    CHECK(refused.at("type") == "error");
    CHECK(refused.at("request") == 1);
    CHECK(refused.at("message").get<std::string>().find("too many replays for one address (at most 16)") == 0);
    CHECK(answer(kOtherVisitor).at("type") == "hello");
    viewers.front()->send(R"({"type":"live","request":2})"); // gives its place back
    CHECK(viewers.front()->next_of("hello"));
    viewers[16]->send(open);
    CHECK(viewers[16]->next()->json().at("type") == "hello");
}

TEST_CASE("requests whose end is uncertain are refused and end the connection, RFC 9112 section 6") {
    const LiveServer live;
    const auto answer = [&](const std::string& fields, const std::string& body) {
        return raw_exchange(live.port(),
                            "POST /api/session HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n" +
                                fields + "\r\n" + body + "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n");
    };
    struct Case {
        const char* fields;
        const char* status;
        const char* section;
        const char* body = "{}";
    };
    const Case cases[] = {
        {"Content-Length: 2, 2\r\n", "HTTP/1.1 400", "6.3 point 5"},
        {"Content-Length: 2\r\nContent-Length: 2\r\n", "HTTP/1.1 400", "6.3 point 5"},
        {"Content-Length: +2\r\n", "HTTP/1.1 400", "6.3 point 5"},
        {"Content-Length: 2\r\nTransfer-Encoding: chunked\r\n", "HTTP/1.1 400", "6.1"},
        {"Transfer-Encoding: xchunked\r\n", "HTTP/1.1 501", "6.1"},
        {"Transfer-Encoding: gzip, chunked\r\n", "HTTP/1.1 501", "6.1", "0\r\n\r\n"},
    };
    for (const Case& c : cases) {
        INFO(c.fields << " section " << c.section);
        const std::string told = answer(c.fields, c.body);
        CHECK(told.substr(0, 12) == c.status);
        CHECK(told.find("Connection: close") != std::string::npos);
        CHECK(told.find("HTTP/1.1 200") == std::string::npos); // what followed was not taken for a request
    }
}

TEST_CASE("a handshake without a proper key is refused, RFC 6455 section 4.2.1") {
    const LiveServer live;
    const auto status = [&](const std::string& key) {
        return RawClient(live.port())
            .read_after("GET /api/stream HTTP/1.1\r\nHost: localhost\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
                        "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: " +
                            key + "\r\n\r\n",
                        12);
    };
    CHECK(status("dGhlIHNhbXBsZSBub25jZQ==") == "HTTP/1.1 101"); // the example of section 1.3
    CHECK(status("abc") == "HTTP/1.1 400");
    CHECK(status("dGhlIHNhbXBsZSBub25jZTEyMzQ1Njc4OQ==") == "HTTP/1.1 400");
}
