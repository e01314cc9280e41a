// Links of another station over Debian's own broker, in MQTT 5.0 and 3.1.1.
#include <catch2/catch.hpp>

#include <csignal>
#include <fstream>

#include <boost/asio/ip/tcp.hpp>
#include <sys/wait.h>
#include <unistd.h>

#include "protocol/broker/piece.hpp"
#include "server/broker/client.hpp"
#include "tests/link/link_watch.hpp"
#include "tests/support/temporary_folder.hpp"

using namespace turnstone;
using namespace turnstone::test;
using namespace std::chrono_literals;

namespace {

/// Of a name or an address, signed by itself: PATH.crt and PATH.key.
void make_certificate(const std::filesystem::path& path, const std::string& of) {
    const std::string command =
        "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 -subj /CN=test -addext "
        "subjectAltName=" +
        of + " -keyout " + path.string() + ".key -out " + path.string() + ".crt 2>/dev/null";
    REQUIRE(std::system(command.c_str()) == 0);
}

class TestBroker {
  public:
    /// `certificate_of`: an address or name, as a certificate says it; empty: without encryption.
    explicit TestBroker(const std::string& certificate_of = "") {
        {
            boost::asio::io_context context;
            const boost::asio::ip::tcp::acceptor acceptor(context, {boost::asio::ip::address_v4::loopback(), 0});
            access_ = {.host = "127.0.0.1", .port = acceptor.local_endpoint().port()};
        }
        const std::string users = (folder_.path() / "users").string();
        run({"/usr/bin/mosquitto_passwd", "-b", "-c", users, "hill", "a good password"});
        wait();
        std::string settings = "listener " + std::to_string(access_.port) +
                               " 127.0.0.1\nallow_anonymous false\nlog_dest none\nuser root\npassword_file " + users +
                               "\n";
        if (!certificate_of.empty()) {
            const std::string own = (folder_.path() / "own").string();
            make_certificate(own, certificate_of);
            settings += "certfile " + own + ".crt\nkeyfile " + own + ".key\n";
            access_.tls = true;
            access_.ca_file = own + ".crt";
        }
        folder_.write("broker.conf", settings);
        start();
    }
    ~TestBroker() { kill(); }
    TestBroker(const TestBroker&) = delete;
    TestBroker& operator=(const TestBroker&) = delete;

    void start() { run({"/usr/sbin/mosquitto", "-c", (folder_.path() / "broker.conf").string()}); }
    void kill() {
        if (pid_ <= 0) return;
        ::kill(pid_, SIGKILL);
        wait();
    }
    [[nodiscard]] BrokerAccess access(bool version_5, const std::string& password = "a good password") const {
        BrokerAccess access = access_;
        access.version_5 = version_5;
        access.user = "hill";
        access.password = password;
        return access;
    }

  private:
    void run(const std::vector<std::string>& words) {
        std::vector<char*> arguments;
        for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
        arguments.push_back(nullptr);
        pid_ = ::fork();
        if (pid_ == 0) {
            ::execv(arguments[0], arguments.data());
            ::_exit(127);
        }
    }
    void wait() {
        int status = 0;
        ::waitpid(pid_, &status, 0);
        pid_ = -1;
    }
    TemporaryFolder folder_;
    BrokerAccess access_;
    pid_t pid_ = -1;
};

/// Another station: says what it is given and waits until the broker has it.
class TestStation {
  public:
    explicit TestStation(const BrokerAccess& access)
        : client_(access, "turnstone-publish-hill", false,
                  {.on_connected = [this] { connected_ = true; },
                   .on_acknowledged =
                       [this](int message, const std::string& refused) {
                           acknowledged_ = message;
                           refused_ = refused;
                       }}) {
        for (int tries = 0; tries < 500; ++tries) {
            if (client_.connect()) break; // the broker may be starting
            std::this_thread::sleep_for(10ms);
        }
        turn_until([this] { return connected_; });
    }
    void say(const std::vector<std::byte>& message) {
        const auto number = client_.publish("turnstone/hill/link/radio", message, false);
        REQUIRE(number);
        turn_until([&] { return acknowledged_ == *number; });
        CHECK(refused_.empty());
    }
    void say(std::uint64_t offset, const std::string& text) {
        say(write_piece({{7, 1, offset, station_now_ns()}, {{station_now_ns(), std::as_bytes(std::span(text))}}}));
    }

  private:
    template <class Holds>
    void turn_until(Holds&& holds) {
        const auto until = std::chrono::steady_clock::now() + 10s;
        while (!holds() && std::chrono::steady_clock::now() < until) REQUIRE(client_.turn(50));
        REQUIRE(holds());
    }
    bool connected_ = false;
    int acknowledged_ = -1;
    std::string refused_;
    BrokerClient client_;
};

LinkWatch::Make link_to(const BrokerAccess& access) {
    return [access](boost::asio::io_context& context, LinkHandler handler) {
        return make_link(context, BrokerSource{.station = "hill", .link = "radio", .access = access, .client = "test"},
                         std::move(handler));
    };
}

} // namespace

TEST_CASE("Another station's bytes come once, also when they are sent again and when the broker was killed") {
    const bool version_5 = GENERATE(true, false);
    INFO(version_5);
    TestBroker broker;
    LinkWatch link(link_to(broker.access(version_5)));
    REQUIRE(link.reaches("open"));
    {
        TestStation station(broker.access(version_5));
        station.say(100, "joined ");
        station.say(107, "anywhere ");
        station.say(100, "joined ");
        station.say(107, "anywhere in");
        REQUIRE(link.receives("joined anywhere in"));
    }
    broker.kill();
    REQUIRE(link.reaches("lost"));
    CHECK(link.detail().find("the broker 127.0.0.1:") != std::string::npos);
    broker.start();
    REQUIRE(link.reaches("open"));
    TestStation station(broker.access(version_5));
    station.say(107, "anywhere in a stream");
    REQUIRE(link.receives("joined anywhere in a stream"));
    station.say(140, "!"); // waits for what is missing
    station.say(127, ", and here");
    REQUIRE(link.receives("joined anywhere in a stream, and here"));
    station.say(137, " it");
    REQUIRE(link.receives("joined anywhere in a stream, and here it!"));
    if (!version_5) return; // what follows takes a while, and is the same
    station.say(144, "?");
    REQUIRE(link.receives("joined anywhere in a stream, and here it!?", 60s));
    CHECK(link.says("3 bytes that hill received did not come; its own recording has them"));
    station.say(std::vector{std::byte{9}});
    station.say(145, ".");
    REQUIRE(link.receives("joined anywhere in a stream, and here it!?."));
    CHECK(link.says("a message under the name of hill is cut short; it is left out"));
}

TEST_CASE("A broker that does not let a link in says why, and neither does the link say the password") {
    const bool version_5 = GENERATE(true, false);
    TestBroker broker;
    TestStation is_up(broker.access(version_5));
    LinkWatch link(link_to(broker.access(version_5, "a bad password")));
    REQUIRE(link.reaches("cannot_open"));
    INFO(link.detail());
    CHECK(link.detail().find("the broker refuses (") != std::string::npos);
    CHECK(link.detail().find("password") == std::string::npos);
}

TEST_CASE("An encrypted broker's bytes come when its certificate is of its address and signed as told") {
    const bool version_5 = GENERATE(true, false);
    INFO(version_5);
    TestBroker broker("IP:127.0.0.1");
    LinkWatch link(link_to(broker.access(version_5)));
    REQUIRE(link.reaches("open"));
    TestStation station(broker.access(version_5));
    // More than one record of TLS, which has 2^14 octets at most (RFC 8446 section 5.1).
    const std::string much = std::string(40'000, 'm') + " joined";
    station.say(0, much);
    REQUIRE(link.receives(much));
}

TEST_CASE("An encrypted broker that cannot show who it is gets neither name nor password") {
    const TemporaryFolder folder;
    make_certificate(folder.path() / "other", "IP:127.0.0.1");
    struct Case {
        const char* what;
        const char* certificate_of;
        const char* authority; ///< empty: its own certificate
        const char* said;
    };
    const Case c =
        GENERATE(Case{"signed by somebody else", "IP:127.0.0.1", "other.crt", "failed: certificate verify failed; its"},
                 Case{"of another address", "IP:192.0.2.7", "", "failed: certificate verify failed; its"},
                 Case{"an authority whose file is not there", "IP:127.0.0.1", "none.crt", "none.crt"});
    INFO(c.what);
    TestBroker broker(c.certificate_of);
    BrokerAccess access = broker.access(true);
    if (*c.authority != '\0') access.ca_file = folder.path() / c.authority;
    LinkWatch link(link_to(access));
    // At first it may be starting.
    for (int tries = 0; tries < 1000 && link.detail().find(c.said) == std::string::npos; ++tries)
        std::this_thread::sleep_for(10ms);
    INFO(link.detail());
    CHECK(link.detail().find(c.said) != std::string::npos);
}

TEST_CASE("A broker that is not there is tried again and again") {
    LinkWatch link(link_to({.host = "127.0.0.1", .port = 1}));
    REQUIRE(link.reaches("cannot_open"));
    CHECK(link.detail() == "the broker 127.0.0.1:1 cannot be used (Connection refused)");
}
