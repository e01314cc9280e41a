// What a station decodes, as other programs get it: by UDP, as sentences, and from a real broker, held against the
// recording.
#include <catch2/catch.hpp>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <map>
#include <set>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

#include <boost/asio/buffer.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/udp.hpp>
#include <nlohmann/json.hpp>

#include "server/broker/client.hpp"
#include "tests/end_to_end/broker.hpp"
#include "tests/end_to_end/child.hpp"
#include "tests/end_to_end/database.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone::test;
using namespace std::chrono_literals;

namespace {

/// Another program on this computer, which reads as quickly as it can.
class UdpListener {
  public:
    UdpListener() : socket_(context_, {boost::asio::ip::address_v4::loopback(), 0}) {
        socket_.set_option(boost::asio::socket_base::receive_buffer_size(4 << 20));
        port = std::to_string(socket_.local_endpoint().port());
        receive();
        thread_ = std::thread([this] { context_.run(); });
    }
    ~UdpListener() { stop(); }
    /// Everything that came.
    std::string stop() {
        context_.stop();
        if (thread_.joinable()) thread_.join();
        return text_;
    }
    std::string port;

  private:
    void receive() {
        socket_.async_receive(
            boost::asio::buffer(datagram_),
            [this](boost::system::error_code error, std::size_t size) {
                if (!error) text_.append(datagram_.data(), size);
                receive();
            });
    }
    boost::asio::io_context context_;
    boost::asio::ip::udp::socket socket_;
    std::array<char, 65536> datagram_{};
    std::string text_;
    std::thread thread_;
};

/// Another program at the broker.
class BrokerListener {
  public:
    explicit BrokerListener(const std::string& port) {
        thread_ = std::thread([this, port] {
            turnstone::BrokerClient* asking = nullptr;
            turnstone::BrokerClient client({.host = "127.0.0.1",
                                            .port = static_cast<std::uint16_t>(std::stoi(port)),
                                            .user = kUser,
                                            .password = kPassword},
                                           "another-program", false,
                                           {.on_connected = [&] { (void)asking->subscribe("turnstone/pad/values"); },
                                            .on_subscribed = [this] { listens = true; },
                                            .on_message =
                                                [this](std::span<const std::byte> payload) {
                                                    text_.append(reinterpret_cast<const char*>(payload.data()),
                                                                 payload.size());
                                                }});
            asking = &client;
            if (!client.connect()) return;
            while (!stopping_ && client.turn(20)) continue;
        });
    }
    ~BrokerListener() { stop(); }
    std::string stop() {
        stopping_ = true;
        if (thread_.joinable()) thread_.join();
        return text_;
    }
    std::atomic<bool> listens = false;

  private:
    std::atomic<bool> stopping_ = false;
    std::string text_;
    std::thread thread_;
};

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) lines.push_back(line);
    return lines;
}

/// The barometer's rows by their UTC: pressure and temperature.
using Rows = std::map<std::string, std::pair<double, double>>;

Rows rows_in(const std::string& text) {
    Rows rows;
    for (const std::string& line : lines_of(text)) {
        const auto json = nlohmann::json::parse(line);
        if (json.at("series") != "sanderling/baro") continue;
        const auto& values = json.at("values");
        rows[json.at("utc")] = {values.at("static_pressure"), values.at("air_temperature")};
    }
    return rows;
}

/// What the vehicle's packets hold, without what only one side says: an export tells seconds since the start besides.
std::set<std::string> packet_lines(const std::string& text) {
    std::set<std::string> packets, lines;
    const auto dictionary = nlohmann::json::parse(read_file(demo_path("sanderling/dictionary.json")));
    for (const auto& packet : dictionary.at("packets"))
        packets.insert("sanderling/" + packet.at("name").get<std::string>());
    for (const std::string& line : lines_of(text)) {
        auto json = nlohmann::json::parse(line);
        if (!json.at("series").is_string() || !packets.contains(json["series"])) continue; // the first line lists all
        json.erase("t_s");
        for (auto& value : json["values"])
            if (value.is_number()) value = value.get<double>(); // 3 and 3.0 are one number
        lines.insert(json.dump());
    }
    return lines;
}

/// UTC by the computer's clock at the start, as exports give it; the views of a recording have the station's time.
std::string rows_of(Database& recorded, const std::string& series, const std::string& columns) {
    return "SELECT strftime('%Y-%m-%dT%H:%M:%S', n / 1000000000, 'unixepoch') || printf('.%09dZ', n % 1000000000), " +
           columns +
           " FROM (SELECT *, (SELECT value FROM meta WHERE key = 'utc_start_ns') + CAST(round(t_s * 1e9) AS " +
           "INTEGER) AS n FROM " + recorded.text("SELECT sql_name FROM series WHERE name = '" + series + "'") + ")";
}

/// As NMEA 0183 has it: ddmm.mmmmm and its side.
double degrees_of(const std::string& text, const std::string& side, std::size_t degree_digits) {
    const double value = std::stod(text.substr(0, degree_digits)) + std::stod(text.substr(degree_digits)) / 60;
    return side == "S" || side == "W" ? -value : value;
}

} // namespace

TEST_CASE("What is decoded goes on to other programs as it is recorded") {
    const TemporaryFolder folder;
    const auto capture = folder.path() / "flight.bin";
    Child simulator({program_path("simulate"), "--vehicle", demo_path("sanderling"), "--site", demo_path("site.json"),
                     "--scenario", "nominal", "--seed", "22", "--impairment", "mild", "--speed", "max",
                     "--before-ignition-s", "10", "--to", "file:" + capture.string()},
                    folder.path() / "simulate.log");
    REQUIRE(simulator.wait(120s) == 0);
    std::filesystem::resize_file(capture, std::filesystem::file_size(capture) / 2);

    Broker broker(folder);
    BrokerListener at_broker(broker.port);
    UdpListener values, sentences;
    for (int tries = 0; tries < 500 && !at_broker.listens; ++tries) std::this_thread::sleep_for(20ms);
    REQUIRE(at_broker.listens);
    std::ofstream(folder.path() / "pad.json") << nlohmann::json{
        {"broker", "mqtt://127.0.0.1:" + broker.port},
        {"broker_user", kUser},
        {"broker_password", kPassword},
        {"publish_as", "pad"},
        {"live_out",
         {"broker", "udp://127.0.0.1:" + values.port, "udp://127.0.0.1:" + sentences.port + "?position_of=sanderling",
          "udp://127.0.0.1:9"}}}; // where nobody listens
    Child pad({program_path("turnstone"), "serve", "--config", (folder.path() / "pad.json").string(), "--vehicle",
               demo_path("sanderling"), "--site", demo_path("site.json"), "--port", "0", "--recordings",
               (folder.path() / "pad").string(), "--link", "file:" + capture.string() + "?name=radio&pace=460800",
               "--exit-at-end"},
              folder.path() / "pad.log");
    const auto ended = pad.wait(120s);
    INFO(pad.output());
    REQUIRE(ended == 0);

    Database recorded(recording_in(folder.path() / "pad"));
    Rows in_recording;
    recorded.query(rows_of(recorded, "sanderling/baro", "static_pressure, air_temperature"), [&](sqlite3_stmt* row) {
        in_recording[reinterpret_cast<const char*>(sqlite3_column_text(row, 0))] = {sqlite3_column_double(row, 1),
                                                                                    sqlite3_column_double(row, 2)};
    });
    REQUIRE(in_recording.size() > 300);
    std::this_thread::sleep_for(500ms); // what is under way to the listeners
    const std::string by_broker = at_broker.stop(), by_udp = values.stop();
    const Rows from_broker = rows_in(by_broker), from_udp = rows_in(by_udp);
    for (const Rows& came : {from_broker, from_udp}) {
        CHECK(came.size() >= in_recording.size() * 95 / 100); // the broker's connection comes after the first rows
        std::size_t other = 0;
        for (const auto& [utc, pair] : came) other += !in_recording.contains(utc) || in_recording.at(utc) != pair;
        CHECK(other == 0);
    }

    // Whoever reads an export's lines reads these.
    const auto exported = folder.path() / "exported.jsonl";
    Child export_lines({program_path("turnstone"), "export", recording_in(folder.path() / "pad").string(), "--format",
                        "jsonl", "--channels", "sanderling", "--output", exported.string()},
                       folder.path() / "export.log");
    REQUIRE(export_lines.wait(30s) == 0);
    const std::set<std::string> lines = packet_lines(read_file(exported));
    for (const std::string& came : {by_broker, by_udp}) {
        const std::set<std::string> live = packet_lines(came);
        CHECK(live.size() > 1000);
        std::vector<std::string> others;
        std::ranges::set_difference(live, lines, std::back_inserter(others));
        INFO((others.empty() ? "" : others.front()));
        CHECK(others.empty());
    }

    std::map<std::string, std::pair<double, double>> places; // by time of day to hundredths, as sentences say it
    recorded.query(rows_of(recorded, "sanderling/estimate/navigation", "latitude_deg, longitude_deg"),
                   [&](sqlite3_stmt* row) {
                       const std::string utc = reinterpret_cast<const char*>(sqlite3_column_text(row, 0));
                       places[utc.substr(11, 2) + utc.substr(14, 2) + utc.substr(17, 5)] = {
                           sqlite3_column_double(row, 1), sqlite3_column_double(row, 2)};
                   });
    std::size_t said = 0;
    for (const std::string& line : lines_of(sentences.stop())) {
        INFO(line);
        unsigned sum = 0; // IEC 61162-1: exclusive or of everything between $ and *
        const std::size_t star = line.find('*');
        REQUIRE(star != std::string::npos);
        for (std::size_t k = 1; k < star; ++k) sum ^= static_cast<unsigned char>(line[k]);
        CHECK(std::stoul(line.substr(star + 1, 2), nullptr, 16) == sum);
        CHECK(line.size() + 1 <= 82); // its line end included
        if (!line.starts_with("$GPGGA")) continue;
        std::vector<std::string> fields;
        std::istringstream in(line.substr(0, star));
        for (std::string field; std::getline(in, field, ',');) fields.push_back(field);
        REQUIRE(places.contains(fields[1]));
        CHECK(std::abs(degrees_of(fields[2], fields[3], 2) - places.at(fields[1]).first) < 1e-6);
        CHECK(std::abs(degrees_of(fields[4], fields[5], 3) - places.at(fields[1]).second) < 1e-6);
        ++said;
    }
    CHECK(said > 20); // five a second, of five seconds at this pace
}

TEST_CASE("Where values cannot go is said before anything begins") {
    const TemporaryFolder folder;
    struct Case {
        const char* uri;
        const char* said;
    };
    const Case c = GENERATE(Case{"broker", "broker needs one, and a name there"},
                            Case{"udp://127.0.0.1:1?position_of=heron", "asks for a vehicle that is not there"},
                            Case{"udp://rotator:1", "which is not a numeric address"});
    Child pad({program_path("turnstone"), "serve", "--vehicle", demo_path("sanderling"), "--site",
               demo_path("site.json"), "--port", "0", "--recordings", (folder.path() / "pad").string(), "--live-out",
               c.uri},
              folder.path() / "pad.log");
    CHECK(pad.wait(20s) == 1);
    INFO(pad.output());
    CHECK(pad.output().find(c.said) != std::string::npos);
    CHECK(pad.output().find("live_out") != std::string::npos);
}
