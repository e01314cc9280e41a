/// The https port, by a client of OpenSSL: what it shows, who gets in, and that behind it all is as on the http port.
#include <chrono>
#include <filesystem>
#include <fstream>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ssl/host_name_verification.hpp>
#include <boost/asio/ssl/stream.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/buffers_to_string.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/http/write.hpp>
#include <boost/beast/ssl.hpp>
#include <boost/beast/websocket/ssl.hpp>
#include <boost/beast/websocket/stream.hpp>
#include <catch2/catch.hpp>
#include <openssl/x509v3.h>

#include "server/serve/port/tls_identity.hpp"
#include "tests/serve/fixture.hpp"

using namespace turnstone;

namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
using asio::ip::tcp;
using TlsStream = asio::ssl::stream<tcp::socket>;

constexpr auto kNow = std::chrono::system_clock::time_point(std::chrono::seconds(1'779'028'325));

/// A server with https, whose certificate is in `folder`.
struct TlsServer {
    test::TemporaryFolder folder;
    LiveServer live{[this](ServeSettings& settings) { settings.tls = ServeSettings::Tls{folder.path(), 0}; }};

    [[nodiscard]] std::string address() const {
        for (const std::string& one : live.server->addresses())
            if (one.starts_with("https:")) return one;
        return "";
    }
    [[nodiscard]] std::uint16_t port() const {
        return static_cast<std::uint16_t>(std::stoi(address().substr(address().rfind(':') + 1)));
    }
    [[nodiscard]] std::string host() const { return "127.0.0.1:" + std::to_string(port()); }
};

/// Trusts the certificate in `folder` alone, and checks that it is for this address.
TlsStream connect(asio::io_context& context, asio::ssl::context& tls, const TlsServer& server) {
    tls.load_verify_file((server.folder.path() / "certificate.pem").string());
    tls.set_verify_mode(asio::ssl::verify_peer);
    TlsStream stream(context, tls);
    stream.set_verify_callback(asio::ssl::host_name_verification("127.0.0.1"));
    stream.next_layer().connect({asio::ip::address_v4::loopback(), server.port()});
    stream.handshake(asio::ssl::stream_base::client);
    return stream;
}

http::response<http::string_body> ask(TlsStream& stream, http::verb verb, const std::string& target,
                                      const std::string& host, const std::string& body = "") {
    http::request<http::string_body> request{verb, target, 11, body};
    request.set(http::field::host, host);
    if (!body.empty()) request.set(http::field::content_type, "application/json");
    request.prepare_payload();
    http::write(stream, request);
    beast::flat_buffer buffer;
    http::response<http::string_body> response;
    http::read(stream, buffer, response);
    return response;
}

} // namespace

TEST_CASE("by https the page, the answers and the operator's session are as by http, and the cookie stays with https") {
    const TlsServer server;
    REQUIRE_FALSE(server.address().empty());
    CHECK(server.live.server->certificate_fingerprint().size() == 32 * 3 - 1);
    asio::io_context context;
    asio::ssl::context tls(asio::ssl::context::tls_client);
    TlsStream stream = connect(context, tls, server);
    for (int again = 0; again < 3; ++again) { // one connection, many requests
        const auto page = ask(stream, http::verb::get, "/", server.host());
        CHECK(page.result() == http::status::ok);
        CHECK(page.body() == server.live.get("/").body);
    }
    const auto unlocked =
        ask(stream, http::verb::post, "/api/session", server.host(), std::string(R"({"key":")") + kOperatorKey + "\"}");
    CHECK(unlocked.result() == http::status::ok);
    CHECK(unlocked[http::field::set_cookie].ends_with("; Secure"));
    CHECK(server.live.operator_cookie().begin()->second.find("Secure") == std::string::npos);
    CHECK(ask(stream, http::verb::get, "/", "example.com").result() == http::status::forbidden); // the host check holds
}

TEST_CASE("by https a viewer gets the stream, in pieces of any size") {
    const TlsServer server;
    asio::io_context context;
    asio::ssl::context tls(asio::ssl::context::tls_client);
    beast::websocket::stream<TlsStream> viewer(connect(context, tls, server));
    viewer.handshake(server.host(), "/api/stream");
    beast::flat_buffer hello;
    viewer.read(hello);
    CHECK(nlohmann::json::parse(beast::buffers_to_string(hello.data()))["type"] == "hello");
    viewer.write(asio::buffer(std::string(R"({"type":"seek","t_s":"wrong"})")));
    for (;;) {
        beast::flat_buffer buffer;
        viewer.read(buffer);
        if (viewer.got_binary()) continue;
        const auto text = nlohmann::json::parse(beast::buffers_to_string(buffer.data()));
        if (text["type"] == "error") break;
    }
}

TEST_CASE("who does not speak TLS, or old TLS, does not get in, and those who do are not kept waiting by it") {
    const TlsServer server;
    asio::io_context context;
    std::vector<tcp::socket> silent;
    for (int i = 0; i < 40; ++i) { // more than may shake hands from one address at a time
        silent.emplace_back(context).connect({asio::ip::address_v4::loopback(), server.port()});
        if (i % 2 == 0) asio::write(silent.back(), asio::buffer(std::string("GET / HTTP/1.1\r\nHost: x\r\n\r\n")));
    }
    asio::ssl::context old(asio::ssl::context::tls_client);
    SSL_CTX_set_max_proto_version(old.native_handle(), TLS1_1_VERSION);
    TlsStream too_old(context, old);
    too_old.next_layer().connect({asio::ip::address_v4::loopback(), server.port()});
    boost::system::error_code refused;
    too_old.handshake(asio::ssl::stream_base::client, refused);
    CHECK(refused);
    silent.clear();
    std::this_thread::sleep_for(std::chrono::milliseconds(200));
    asio::ssl::context tls(asio::ssl::context::tls_client);
    TlsStream stream = connect(context, tls, server);
    CHECK(ask(stream, http::verb::get, "/api/health", server.host()).body() == server.live.get("/api/health").body);
}

TEST_CASE("a certificate is made once, for the station's names, and kept") {
    const test::TemporaryFolder folder;
    const auto path = folder.path() / "below" / "tls";
    const auto made = tls_identity(path, {"192.0.2.7", "fd00::7", "station.local", "no name"}, kNow);
    REQUIRE(made);
    CHECK((std::filesystem::status(path / "key.pem").permissions() & std::filesystem::perms(0777)) ==
          std::filesystem::perms(0600));
    const auto again = tls_identity(path, {"198.51.100.1"}, kNow + std::chrono::hours(24 * 300));
    REQUIRE(again);
    CHECK(again->certificate_pem == made->certificate_pem);
    CHECK(again->fingerprint == made->fingerprint);

    // What browsers ask of it: RFC 5280, RFC 6125 (names in the extension), at most 825 days.
    const std::unique_ptr<BIO, int (*)(BIO*)> memory(
        BIO_new_mem_buf(made->certificate_pem.data(), static_cast<int>(made->certificate_pem.size())), &BIO_free);
    const std::unique_ptr<X509, void (*)(X509*)> x509(PEM_read_bio_X509(memory.get(), nullptr, nullptr, nullptr),
                                                      &X509_free);
    REQUIRE(x509);
    CHECK(X509_check_ip_asc(x509.get(), "192.0.2.7", 0) == 1);
    CHECK(X509_check_ip_asc(x509.get(), "fd00::7", 0) == 1);
    CHECK(X509_check_host(x509.get(), "station.local", 0, 0, nullptr) == 1);
    CHECK(X509_check_host(x509.get(), "example.com", 0, 0, nullptr) == 0);
    CHECK(X509_check_purpose(x509.get(), X509_PURPOSE_SSL_SERVER, 0) == 1);
    CHECK(X509_check_ca(x509.get()) == 0);
    int days = 0, seconds = 0;
    REQUIRE(ASN1_TIME_diff(&days, &seconds, X509_get0_notBefore(x509.get()), X509_get0_notAfter(x509.get())) == 1);
    CHECK(days <= 825);
    CHECK(days > 800);

    const auto renewed = tls_identity(path, {"192.0.2.7"}, kNow + std::chrono::hours(24 * 819));
    REQUIRE(renewed);
    CHECK(renewed->fingerprint != made->fingerprint);
}

TEST_CASE("a certificate that cannot be used is named, with what to do") {
    struct Case {
        const char* name;
        std::function<void(const std::filesystem::path&)> spoil;
        const char* says;
    };
    const Case cases[] = {
        {"no key", [](const auto& folder) { std::filesystem::remove(folder / "key.pem"); }, "key.pem: is missing"},
        {"no certificate", [](const auto& folder) { std::filesystem::remove(folder / "certificate.pem"); },
         "certificate.pem: is missing"},
        {"not PEM", [](const auto& folder) { std::ofstream(folder / "certificate.pem") << "hello"; },
         "no certificate in PEM form"},
        {"another's key",
         [](const auto& folder) {
             REQUIRE(tls_identity(folder / "other", {}, kNow));
             std::filesystem::rename(folder / "other" / "key.pem", folder / "key.pem");
         },
         "do not belong together"},
    };
    for (const Case& one : cases) {
        INFO(one.name);
        const test::TemporaryFolder folder;
        REQUIRE(tls_identity(folder.path(), {"127.0.0.1"}, kNow));
        one.spoil(folder.path());
        const auto refused = tls_identity(folder.path(), {"127.0.0.1"}, kNow);
        REQUIRE_FALSE(refused);
        CHECK_THAT(refused.error().message, Catch::Contains(one.says) && Catch::Contains("remove"));
    }
    CHECK_FALSE(tls_identity("/proc/nowhere", {}, kNow));
}
