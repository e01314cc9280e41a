// What other programs get, received by UDP as they would.
#include <chrono>
#include <cmath>
#include <limits>

#include <boost/asio/buffer.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/udp.hpp>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "server/live_out/live_out.hpp"
#include "shared/time.hpp"

using namespace turnstone;

namespace {

constexpr std::int64_t kT0_ns = 1'790'000'000 * kNsPerS;

/// Another program, on loopback.
class Listener {
  public:
    Listener() : socket_(context_, {boost::asio::ip::address_v4::loopback(), 0}) {}
    [[nodiscard]] std::uint16_t port() const { return socket_.local_endpoint().port(); }
    /// The next datagram; empty: none came within ten seconds.
    std::string receive() {
        std::string text(65536, '\0');
        std::size_t size = 0;
        socket_.async_receive(boost::asio::buffer(text),
                              [&](const boost::system::error_code& error, std::size_t got) { size = error ? 0 : got; });
        context_.restart();
        context_.run_for(std::chrono::seconds(10));
        if (size == 0) socket_.cancel();
        context_.run();
        text.resize(size);
        return text;
    }

  private:
    boost::asio::io_context context_;
    boost::asio::ip::udp::socket socket_;
};

Column number_column(const std::string& name) {
    Column column;
    column.name = name;
    return column;
}

/// A packet's table with a text, and a navigation estimate.
LiveTape tape() {
    Schema schema;
    Table power;
    power.name = "tern/power";
    power.columns = {number_column("battery"), number_column("current"), number_column("state")};
    power.columns.back().is_text = true;
    power.number_count = 2;
    Table navigation;
    navigation.id = 1;
    navigation.name = "tern/estimate/navigation";
    for (const char* name :
         {"mode", "latitude_deg", "longitude_deg", "altitude_msl_m", "velocity_east_mps", "velocity_north_mps"})
        navigation.columns.push_back(number_column(name));
    navigation.columns.front().enumeration = {{2, "GNSS-aided"}, {3, "dead reckoning"}};
    navigation.number_count = navigation.columns.size();
    schema.tables = {power, navigation};
    const auto setup = std::make_shared<PipelineSetup>();
    setup->site.geoid_height_m = 46.9;
    LiveTape out;
    out.t_start_ns = kT0_ns;
    out.utc_start_ns = kT0_ns + 2 * kNsPerS; // the system's clock is not the station's
    out.schema = std::make_shared<Schema>(schema);
    out.setup = setup;
    return out;
}

} // namespace

TEST_CASE("Rows come as JSON lines, each with its series, its UTC and its values") {
    Listener listener;
    const LiveTape live = tape();
    LiveOut out(UdpTarget{.address = "127.0.0.1", .port = listener.port()});
    out.begins(live);
    Batch batch;
    const double infinite = std::numeric_limits<double>::infinity();
    batch.add_row(live.schema->tables[0], kT0_ns + 250'000'000, kT0_ns + kNsPerS, std::array{7.9, std::nan("")},
                  std::array<std::string_view, 1>{"a \"quoted\" \xC2\xB5"});
    batch.add_row(live.schema->tables[0], kT0_ns + 1, kT0_ns + kNsPerS, std::array{-infinite, 0.1 + 0.2},
                  std::array<std::string_view, 1>{"\xFF"});
    out.publish(std::make_shared<Batch>(batch));
    const std::string text = listener.receive();
    std::vector<nlohmann::json> lines;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) lines.push_back(nlohmann::json::parse(line));
    REQUIRE(lines.size() == 2);
    CHECK(text.ends_with('\n'));
    CHECK(lines[0] ==
          nlohmann::json{{"series", "tern/power"},
                         {"utc", "2026-09-21T14:13:22.250000000Z"},
                         {"values", {{"battery", 7.9}, {"current", nullptr}, {"state", "a \"quoted\" \u00b5"}}}});
    CHECK(lines[1]["utc"] == "2026-09-21T14:13:22.000000001Z");
    CHECK(lines[1]["values"]["battery"] == "-Infinity");
    CHECK(lines[1]["values"]["current"] == 0.1 + 0.2);
    CHECK(lines[1]["values"]["state"] == "\xEF\xBF\xBD"); // U+FFFD

    // Lines that do not fit one datagram go in several, and what a new recording carries is not sent twice.
    out.begins(live);
    Batch many;
    for (const std::int64_t t_rx_ns : {kT0_ns + kNsPerS / 2, kT0_ns + kNsPerS})
        many.add_row(live.schema->tables[0], kT0_ns, t_rx_ns, std::array{1.0, 1.0},
                     std::array<std::string_view, 1>{"carried"});
    for (int k = 0; k < 40; ++k)
        many.add_row(live.schema->tables[0], kT0_ns + k, kT0_ns + (k % 2 == 0 ? 3 : 2) * kNsPerS,
                     std::array{1.0 * k, 1.0}, std::array<std::string_view, 1>{"new"});
    out.publish(std::make_shared<Batch>(many));
    int k = 0, datagrams = 0;
    while (k < 40) {
        const std::string several = listener.receive();
        REQUIRE(!several.empty());
        CHECK(several.size() <= 1452);
        ++datagrams;
        std::istringstream rest(several);
        for (std::string line; std::getline(rest, line); ++k)
            CHECK(nlohmann::json::parse(line)["values"]["battery"] == 1.0 * k);
    }
    CHECK(datagrams > 1);
}

TEST_CASE("The position of one vehicle comes as sentences, five times a second") {
    Listener listener;
    const LiveTape live = tape();
    LiveOut out(UdpTarget{.address = "127.0.0.1", .port = listener.port(), .position_of = "tern"});
    out.begins(live);
    Batch batch;
    const auto add = [&](double t_s, double mode, double latitude_deg, double east_mps, double north_mps) {
        const std::int64_t t_ns = kT0_ns + std::llround(t_s * 1e9);
        batch.add_row(live.schema->tables[0], t_ns, t_ns, std::array{1.0, 1.0},
                      std::array<std::string_view, 1>{"not a position"});
        batch.add_row(live.schema->tables[1], t_ns, t_ns,
                      std::array{mode, latitude_deg, -11.5, 1234.5, east_mps, north_mps});
    };
    add(0, 2, std::nan(""), 0, 0);
    add(1, 2, 48.1173, 3, -4);
    add(1.1, 2, 48.2, 3, -4); // too soon
    add(1.2, 3, 48.3, 0, 0.01);
    add(1000, 2, std::nan(""), 0, 0); // nothing to say, and no reason to be silent after it
    add(1.4, 2, 48.3, 0, 0);
    out.publish(std::make_shared<Batch>(batch));
    const std::string text = listener.receive();
    std::vector<std::string> sentences;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) sentences.push_back(line.substr(0, line.find('*')));
    CHECK(sentences == std::vector<std::string>{"$GPGGA,141323.00,4807.03800,N,01130.00000,W,1,,,1234.5,M,46.9,M,,",
                                                "$GPRMC,141323.00,A,4807.03800,N,01130.00000,W,9.7,143.1,210926,,,A",
                                                "$GPGGA,141323.20,4818.00000,N,01130.00000,W,6,,,1234.5,M,46.9,M,,",
                                                "$GPRMC,141323.20,A,4818.00000,N,01130.00000,W,0.0,,210926,,,E",
                                                "$GPGGA,141323.40,4818.00000,N,01130.00000,W,1,,,1234.5,M,46.9,M,,",
                                                "$GPRMC,141323.40,A,4818.00000,N,01130.00000,W,0.0,,210926,,,A"});
}

TEST_CASE("Where values go is said by a URI") {
    const auto plain = parse_udp_target("udp://[::1]:9000");
    REQUIRE(plain);
    CHECK(plain->address == "::1");
    CHECK(plain->port == 9000);
    CHECK(plain->position_of.empty());
    CHECK(parse_udp_target("udp://127.0.0.1:9000?position_of=tern")->position_of == "tern");
    const auto mistake = [](const char* uri) {
        const auto target = parse_udp_target(uri);
        return target ? "" : target.error().message;
    };
    CHECK(mistake("udp://rotator:9000") == "live_out \"udp://rotator:9000\" has \"rotator\", which is not a numeric "
                                           "address; expected one, for instance 127.0.0.1");
    CHECK(mistake("udp://127.0.0.1:9000?format=x") ==
          "live_out \"udp://127.0.0.1:9000?format=x\" has the unknown option format; expected position_of=VEHICLE");
    CHECK(mistake("tcp://127.0.0.1:1") ==
          "live_out \"tcp://127.0.0.1:1\" starts with no known scheme; expected udp://ADDRESS:PORT");
}
